"""The page in a real browser: no complaint on its console, the figures on the screen."""

from __future__ import annotations

import json
import re
import shutil
import struct
import subprocess
from datetime import date
from pathlib import Path

import pytest
from factory import local
from justhtml import JustHTML

from pitwright.cli.shared import json_text
from pitwright.desk.sheet.day_sheet import day_sheet
from pitwright.paths import demo_folder
from pitwright.report.formats import formatted
from pitwright.store.session import Session

BROWSER = next(
    (
        found
        for name in ("chromium", "chromium-browser", "google-chrome")
        if (found := shutil.which(name))
    ),
    None,
)
pytestmark = pytest.mark.skipif(
    BROWSER is None, reason="no Chromium on this machine: the page was not opened in a browser"
)

A4_WIDTH = 794  # CSS pixels, 210 mm at 96 to the inch


def browse(tmp_path: Path, *what: str) -> subprocess.CompletedProcess[str]:
    assert BROWSER is not None
    return subprocess.run(
        [
            BROWSER, "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic",
            "--no-first-run", "--disable-background-networking", "--disable-component-update",
            "--disable-sync", f"--user-data-dir={tmp_path / 'profile'}",
            "--enable-logging=stderr", "--v=0", *what,
        ],
        capture_output=True, text=True, timeout=180, check=True,
    )  # fmt: skip


@pytest.fixture(scope="module")
def made():
    with Session(demo_folder(), write=False) as session:
        return day_sheet(session.weekend, local(2, "20:00"), date(2026, 5, 16))


@pytest.fixture
def page(tmp_path, made):
    path = tmp_path / "sheet.html"
    path.write_text(formatted(made, "html"), encoding="utf-8")
    return path


def complaints(stderr: str) -> list[str]:
    """Return what the page said on the console; the policy's refusals are among it."""
    return re.findall(r":CONSOLE[:(].*", stderr)


def test_no_console_errors_and_the_json_s_figures(tmp_path, page, made):
    done = browse(tmp_path, "--dump-dom", page.as_uri())
    assert complaints(done.stderr) == []
    shown = " ".join(JustHTML(done.stdout, sanitize=False).root.to_text().split())
    found = json.loads(json_text(made))
    for heat in found["heats"]:
        figures = heat["lap_figures"]
        row = f"{heat['kind']} {figures['count']} {figures['best']:.2f} {figures['median']:.2f}"
        assert row in shown
    for out in found["out"]:
        assert f"{out['value_mm']:.2f} {out['limits']}" in shown
    for task in found["prepare"]["tasks"]:
        assert task["what"] in shown
    for thing in found["buy"]:
        assert f"{thing['what']} {thing['count']} {thing['why']}" in shown


def test_a_page_that_breaks_its_policy_is_noticed(tmp_path, page):
    # The check above can fail: a script put into the page is refused aloud.
    broken = tmp_path / "broken.html"
    broken.write_text(page.read_text().replace("</main>", "<script>alert(1)</script></main>"))
    done = browse(tmp_path, "--dump-dom", broken.as_uri())
    assert any("Content Security Policy" in line for line in complaints(done.stderr))


def test_the_style_and_the_pictures_are_let_through(tmp_path, page):
    picture = tmp_path / "sheet.png"
    browse(
        tmp_path, "--hide-scrollbars", f"--window-size={A4_WIDTH},1500",
        f"--screenshot={picture}", page.as_uri(),
    )  # fmt: skip
    data = picture.read_bytes()
    assert struct.unpack(">II", data[16:24]) == (A4_WIDTH, 1500)
    bare = tmp_path / "bare.html"
    bare.write_text(re.sub(r"<img [^>]*>", "", page.read_text()))
    without = tmp_path / "bare.png"
    browse(
        tmp_path, "--hide-scrollbars", f"--window-size={A4_WIDTH},1500",
        f"--screenshot={without}", bare.as_uri(),
    )  # fmt: skip
    assert without.read_bytes() != data


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_it_prints(tmp_path, page, paper):
    # The paper is the printer's choice: the sheet itself only asks for margins.
    sized = tmp_path / f"{paper}.html"
    # A style of its own would break the policy; the size goes in without it.
    made = re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", page.read_text())
    sized.write_text(made.replace("@page { margin", f"@page {{ size: {paper}; margin"))
    pdf = tmp_path / f"{paper}.pdf"
    browse(tmp_path, "--no-pdf-header-footer", f"--print-to-pdf={pdf}", sized.as_uri())
    data = pdf.read_bytes()
    assert data.startswith(b"%PDF")
    pages = len(re.findall(rb"/Type\s*/Page\b", data))
    assert 2 <= pages <= 8
