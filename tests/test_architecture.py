"""The core knows no screen, and starting imports nothing heavy; looked at in real processes."""

from __future__ import annotations

import json
import pkgutil
import subprocess
import sys
from pathlib import Path

import pytest

import pitwright

CORE = (
    "mechanics", "metrology", "inference", "timing", "weekend", "store", "desk", "report", "sound"
)  # fmt: skip
HEAVY = ("pint", "numpy", "scipy", "matplotlib", "plotext", "textual_plotext", "av", "sqlite3")


def modules_after(code: str) -> set[str]:
    """Return the top-level names in sys.modules after running ``code`` in a fresh process."""
    tail = "import sys, json; print(json.dumps(sorted({m.split('.')[0] for m in sys.modules})))"
    script = f"{code}\n{tail}"
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True, timeout=120
    )
    return set(json.loads(done.stdout.splitlines()[-1]))


def core_modules() -> list[str]:
    found = ["pitwright.units"]
    for part in CORE:
        package = Path(pitwright.__file__).parent / part
        found += [m.name for m in pkgutil.walk_packages([str(package)], f"pitwright.{part}.")]
    return found


def test_the_core_imports_no_textual() -> None:
    names = core_modules()
    assert len(names) > 150
    loaded = modules_after("\n".join(f"import {name}" for name in names))
    assert "pydantic" in loaded
    assert "textual" not in loaded
    assert "rich" not in loaded


@pytest.mark.parametrize("heavy", HEAVY)
def test_what_must_not_be_imported_to_open_a_weekend(heavy: str, opened_app: set[str]) -> None:
    assert "textual" in opened_app
    assert heavy not in opened_app


@pytest.fixture(scope="module")
def opened_app(tmp_path_factory: pytest.TempPathFactory) -> set[str]:
    folder = tmp_path_factory.mktemp("start") / "demo"
    return modules_after(
        "import asyncio\n"
        "from pathlib import Path\n"
        "from pitwright.app.app import PitwrightApp\n"
        "from pitwright.paths import demo_folder\n"
        "from pitwright.store.create import copy_demo\n"
        "from pitwright.store.session import Session\n"
        f"session = Session(copy_demo(demo_folder(), Path({str(folder)!r})))\n"
        "async def go():\n"
        "    async with PitwrightApp(session).run_test() as pilot:\n"
        "        await pilot.pause()\n"
        "asyncio.run(go())\n"
    )


@pytest.mark.parametrize("heavy", [*HEAVY, "textual"])
def test_what_must_not_be_imported_to_answer_state(heavy: str, answered_state: set[str]) -> None:
    assert "pydantic" in answered_state
    assert heavy not in answered_state


@pytest.fixture(scope="module")
def answered_state() -> set[str]:
    return modules_after(
        "from pitwright.cli import main\n"
        "from pitwright.paths import demo_folder\n"
        "assert main(['state', str(demo_folder()), '--json']) == 0\n"
    )


@pytest.mark.parametrize("heavy", [*HEAVY, "pydantic"])
def test_what_must_not_be_imported_for_the_first_frame(heavy: str, painted_frame: set[str]) -> None:
    assert "textual" in painted_frame
    assert heavy not in painted_frame


@pytest.fixture(scope="module")
def painted_frame() -> set[str]:
    return modules_after(
        "import asyncio\n"
        "from pathlib import Path\n"
        "from pitwright.app.app import Opening, PitwrightApp\n"
        "def opened():\n"
        "    raise OSError('far enough')\n"
        "async def go():\n"
        "    async with PitwrightApp(Opening(Path('w'), opened)).run_test() as pilot:\n"
        "        await pilot.pause()\n"
        "asyncio.run(go())\n"
    )
