"""A closed terminal or a laptop that goes down tells the app to end: nothing typed is lost."""

from __future__ import annotations

import os
import shutil
import signal
import sys
from pathlib import Path

import pytest

from pitwright.paths import demo_folder

if os.name == "nt":
    pytest.skip("there is no pseudo-terminal on Windows", allow_module_level=True)

from trust.terminal import environment, terminal

# A writer that waits has nothing on the disk when the signal comes.
LATE = (
    "import pitwright.app.drafts as drafts; drafts._GATHER_S = 60.0; "
    "from pitwright.cli import main; raise SystemExit(main())"
)


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP])
def test_what_is_typed_is_on_the_disk_before_the_end(tmp_path: Path, number: int) -> None:
    folder = tmp_path / "w"
    shutil.copytree(demo_folder(), folder)
    with terminal([sys.executable, "-c", LATE, "open", str(folder)], environment(tmp_path)) as app:
        assert app.shows("Timeline", 60.0)
        app.keys("3")
        assert app.shows("Letter keys", 60.0)
        app.keys(*"10.4711")
        assert app.shows("10.4711", 60.0)
        os.kill(app.pid, number)
        assert app.wait(60.0) == (128 + number if number == signal.SIGTERM else -number)
    drafts = folder.glob("open/*/drafts/*.toml")
    assert "10.4711" in "".join(p.read_text(encoding="utf-8") for p in drafts)
