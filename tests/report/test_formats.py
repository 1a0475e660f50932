"""The sheet in every format: the same figures, nothing a user wrote is taken for markup."""

from __future__ import annotations

import builtins
import html as html_lib
import json
import re
import subprocess
import sys
from datetime import date

import pytest
from factory import WeekendMaker, blank_weekend, local, race_weekend, scheduled
from justhtml import JustHTML
from markdown_it import MarkdownIt

from pitwright.cli.shared import json_text
from pitwright.desk.sheet.day_sheet import day_sheet, weekend_days
from pitwright.paths import demo_folder
from pitwright.report.charts import charts
from pitwright.report.document import Note, Picture, Table, clean
from pitwright.report.formats import formatted
from pitwright.report.html import html
from pitwright.report.markdown import escape, markdown
from pitwright.report.sheet import document
from pitwright.report.text import text, text_lines
from pitwright.store.session import Session

FRIDAY = date(2026, 5, 15)
HOSTILE = (
    "<script>alert(1)</script> <img src=x onerror=alert(1)> &amp; \"quoted\" 'single' | pipe | "
    "*star* _under_ `code` [link](http://example.invalid) ![pic](x) $x^2$ ~~gone~~ # head "
    "www.example.invalid a@example.invalid \\back {brace}"
)


def of_demo(day=date(2026, 5, 16)):
    with Session(demo_folder(), write=False) as session:
        return day_sheet(session.weekend, local(2, "20:00"), day)


@pytest.fixture(scope="module")
def demo():
    return of_demo()


@pytest.fixture(scope="module")
def hostile(tmp_path_factory):
    folder = tmp_path_factory.mktemp("hostile") / "w"
    maker = WeekendMaker(folder, schedule=[scheduled("P1", "practice", 0, "10:00", 8)])
    quoted = json.dumps(HOSTILE[:190])
    for name in ("weekend.toml", "stock.toml", "clutch.toml"):
        card = folder / name
        card.write_text(
            re.sub(
                r'^(venue|driver|label) = ".*"$',
                lambda found: f"{found.group(1)} = {quoted}",
                card.read_text(),
                flags=re.MULTILINE,
            )
        )
    maker.fit("spring", "S1")
    maker.fit("shoes", "H1")
    maker.check(free_length=10.1, recess=1.3)
    maker.check("out", recess=1.9)
    maker.go(0, "10:00").heat(
        "P1", "practice", 8, [20.0, 19.5, 19.4, 19.6, 19.5, 19.7],
        trouble=HOSTILE[:190], result="1. first | <b>", note="- item\n# head\n" + HOSTILE,
    )  # fmt: skip
    maker.note(HOSTILE, open_point=True)
    maker.fit("spring", "S2", removed="S1", fate="discarded", reason="=1+1 <i>")
    with maker.session() as session:
        return day_sheet(session.weekend, maker.at, FRIDAY)


def blocks(sheet, kind):
    return [b for s in document(sheet).sections for b in s.blocks if isinstance(b, kind)]


def parsed(page):
    """Parse as HTML5; anything the standard calls a parse error raises."""
    return JustHTML(page, strict=True, sanitize=False)


def words(node):
    return " ".join(node.to_text().split())


# The same figures everywhere


@pytest.mark.parametrize("day", [date(2026, 5, 15), date(2026, 5, 16), date(2026, 5, 17), None])
def test_every_format_shows_every_cell_of_the_document(day):
    sheet = of_demo(day)
    page = words(parsed(html(document(sheet), None)).root)
    plain = " ".join(text(document(sheet), 4000).split())
    read = MarkdownIt("commonmark").enable("table").render(markdown(document(sheet)))
    shown = " ".join(html_lib.unescape(re.sub(r"<[^>]+>", " ", read)).split())
    cells = [cell for t in blocks(sheet, Table) for row in t.rows for cell in row if cell]
    assert len(cells) > 100
    for cell in [*map(clean, cells), *(clean(n.text) for n in blocks(sheet, Note))]:
        assert cell in page
        assert cell in plain
        assert cell in shown


def test_the_page_shows_the_json_s_figures(demo):
    found = json.loads(json_text(demo))
    page = parsed(formatted(demo, "html"))
    tables = {
        words(t.query("caption")[0]): [
            [words(cell) for cell in row.query("th, td")] for row in t.query("tbody tr")
        ]
        for t in page.query("table")
    }
    heats = next(rows for caption, rows in tables.items() if caption.startswith("Lap times"))
    ran = found["heats"]
    assert len(heats) == len(ran)
    for row, heat in zip(heats, ran, strict=True):
        assert row[0] == heat["heat"]
        assert row[3] == str(heat["lap_figures"]["count"])
        assert row[4] == f"{heat['lap_figures']['best']:.2f}"
        assert row[5] == f"{heat['lap_figures']['median']:.2f}"
        assert row[6].split("+")[0] == f"{heat['run_minutes']:g}"
        assert row[7] == " ".join(
            str(heat[f"{r}_rating"]) for r in ("bite", "bottom_end", "consistency")
        )
    states = next(rows for caption, rows in tables.items() if caption.startswith("The clutch each"))
    for row, heat in zip(states, ran, strict=False):
        assert row[1] == heat["start"]["spring_label"]
        assert row[2] == f"{heat['start']['free_length_mm']:.2f}"
        assert row[3] == f"{heat['start']['recess_mm']:.2f}"
        assert float("".join(row[7].split()[:2])) == pytest.approx(heat["bite"]["rpm"], abs=5.01)
    wear = next(
        rows for caption, rows in tables.items() if caption == "Spring free length: every reading"
    )
    points = [
        (w["label"], p["value_mm"])
        for w in found["wear"]
        if w["quantity"] == "free_length"
        for p in w["points"]
    ]
    assert [(row[0], row[2]) for row in wear] == [(name, f"{mm:.2f}") for name, mm in points]
    parts = next(
        rows for caption, rows in tables.items() if caption.startswith("Minutes of running")
    )
    assert [float(row[1]) for row in parts] == pytest.approx(
        [p["run_minutes"] for p in found["parts"]], abs=0.051
    )


# The page


@pytest.mark.parametrize("name", ["demo", "hostile"])
def test_the_page_is_sound_html_and_accessible(name, request):
    page = parsed(formatted(request.getfixturevalue(name), "html"))
    assert page.query("html")[0].attrs["lang"] == "en"
    assert len(page.query("h1")) == len(page.query("main")) == len(page.query("title")) == 1
    ids = [node.attrs["id"] for node in page.query("[id]")]
    assert len(ids) == len(set(ids))
    for image in page.query("img"):
        assert image.attrs["alt"]
        assert image.attrs["src"].startswith("data:image/svg+xml;base64,")
    assert page.query("img")
    for section in page.query("section"):
        assert section.attrs["aria-labelledby"] in ids
    for table in page.query("table"):
        assert table.query("caption")
        heads = table.query("thead th")
        assert heads
        assert all(head.attrs["scope"] == "col" for head in heads)
        for row in table.query("tbody tr"):
            assert row.query("th")[0].attrs["scope"] == "row"
            assert len(row.query("th, td")) == len(heads)


def test_the_page_runs_and_fetches_nothing(hostile):
    made = formatted(hostile, "html")
    page = parsed(made)
    policy = page.query("meta[http-equiv]")[0].attrs["content"]
    assert "default-src 'none'" in policy
    assert "img-src data:" in policy
    assert "unsafe" not in policy
    names = {node.name for node in page.query("*")}
    assert not names & {
        "script",
        "iframe",
        "link",
        "object",
        "embed",
        "form",
        "a",
        "base",
        "b",
        "i",
    }
    for node in page.query("*"):
        assert not [key for key in node.attrs if key.startswith("on") or key in ("href", "style")]
    assert all(len(node.attrs["src"]) > 100 for node in page.query("img"))
    assert HOSTILE in words(page.root)


def test_a_picture_never_holds_script_or_outside_links(hostile):
    for svg in (charts(hostile) or {}).values():
        shown = svg.decode()
        assert "<script" not in shown
        assert "onerror" not in re.sub(r"<!--.*?-->", "", shown, flags=re.DOTALL)
        assert not re.search(r'href="(?!#)', shown)


def test_control_and_direction_signs_reach_no_format():
    # The folder's reader refuses them; a record made in memory does not pass through it.
    bad = "a\x1b[31mb\u202ec\x07d\r\ne"
    assert clean(bad) == "a[31mbcd e"
    assert escape(bad) == r"a\[31mbcd e"


def test_the_same_sheet_makes_the_same_bytes(demo):
    assert charts(demo) == charts(of_demo())
    assert formatted(demo, "html") == formatted(of_demo(), "html")


def test_every_picture_of_the_document_is_drawn(demo):
    drawn = charts(demo)
    assert drawn is not None
    assert {p.chart for p in blocks(demo, Picture)} == set(drawn)
    assert {"laps", "bite", "wear:free_length", "wear:shoe_thickness"} == set(drawn)


def test_without_matplotlib_the_page_says_how_to_get_pictures(demo, monkeypatch):
    real = builtins.__import__

    def without(name, *rest, **more):
        if name.split(".")[0] == "matplotlib":
            raise ImportError(name)
        return real(name, *rest, **more)

    monkeypatch.setattr(builtins, "__import__", without)
    assert charts(demo) is None
    page = parsed(formatted(demo, "html"))
    assert not page.query("img")
    assert "pip install 'pitwright[report]'" in words(page.root)


def test_text_and_markdown_need_no_matplotlib():
    code = (
        "import sys\n"
        "sys.modules['matplotlib'] = None\n"
        "from pitwright.cli import main\n"
        "from pitwright.paths import demo_folder\n"
        "for form in ('text', 'md', 'json'):\n"
        "    assert main(['daysheet', str(demo_folder()), '--format', form]) == 0\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stderr


# Markdown


@pytest.mark.parametrize(
    "said",
    [HOSTILE, "# head", "- item", "+ item", "1. first", "1) first", "> quote", "=== x", "a | b",
     "---", "<b>x</b>", "&copy; 2026", "http://x.invalid", "**", "\\", "    four spaces"],
)  # fmt: skip
def test_markdown_shows_what_was_written_and_nothing_else(said):
    reader = MarkdownIt("gfm-like", {"linkify": False, "html": True})
    shown = reader.render(escape(said))
    assert shown.startswith("<p>")
    assert not re.search(r"<(?!/?p>)", shown)
    assert html_lib.unescape(shown.removeprefix("<p>").removesuffix("</p>\n")) == clean(said)


def test_markdown_tables_keep_their_columns(hostile):
    reader = MarkdownIt("gfm-like", {"linkify": False, "html": True})
    page = JustHTML(reader.render(markdown(document(hostile))), sanitize=False)
    made = [
        [[words(c) for c in row.query("td")] for row in t.query("tbody tr")]
        for t in page.query("table")
    ]
    wanted = [[[clean(c) for c in row] for row in t.filled.rows] for t in blocks(hostile, Table)]
    assert made == wanted
    assert not page.query("script, img, a, b, i")


# Text


@pytest.mark.parametrize("width", [72, 76, 100, 136])
def test_no_line_of_text_is_too_wide(demo, hostile, width):
    for sheet in (demo, hostile):
        for line in text_lines(document(sheet), width):
            assert len(line.text) <= width, line.text
            assert line.text == line.text.rstrip()


def test_numbers_stand_under_each_other(demo):
    lines = text(document(demo), 100).splitlines()
    at = next(n for n, line in enumerate(lines) if line.startswith("Spring free length: every"))
    rows = lines[at + 2 : at + 7]
    assert len({row.index(".") for row in rows}) == 1


# Full and empty


def test_an_empty_day_reads_as_sentences(tmp_path):
    folder = blank_weekend(tmp_path / "w")
    with Session(folder, laptop="tent1") as session:
        sheet = day_sheet(session.weekend, local(0, "12:00"), FRIDAY)
    said = text(document(sheet), 80)
    assert "No heat run, no build, no reading out of limits." in said
    assert "No heat is planned or noted for this day." in said
    assert "Nothing is known of the clutch yet." in said
    assert "Nothing is open." in said
    parsed(formatted(sheet, "html"))
    assert "None" not in formatted(sheet, "md").replace("None.", "")


def test_sixty_heats_read_well(tmp_path):
    maker = race_weekend(tmp_path / "w", 60)
    with maker.session() as session:
        days = weekend_days(session.weekend)
        sheets = [day_sheet(session.weekend, maker.at, day) for day in [*days, None]]
    for sheet in sheets:
        page = parsed(formatted(sheet, "html"))
        table = page.query("table")[0]
        assert len(table.query("tbody tr")) == len(sheet.heats)
        assert max(len(line.text) for line in text_lines(document(sheet), 76)) <= 76


def test_a_column_nobody_has_anything_for_is_in_no_format(demo):
    """Sunday's What was done has no verdict to tell: its column is left out, as in the text."""
    sheet = of_demo(date(2026, 5, 17))
    tables = [t for s in document(sheet).sections for t in s.blocks if isinstance(t, Table)]
    done = next(t for t in tables if "Verdict" in [c.title for c in t.columns])
    assert not any(row[-1] for row in done.rows)
    assert [c.title for c in done.filled.columns] == ["When", "What"]
    for written in (text(document(sheet)), markdown(document(sheet)), html(document(sheet), {})):
        assert "Verdict" not in written
        assert "Spring 4 bought" in written
