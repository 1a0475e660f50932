"""The driver of the storm sees what is there: life, a hang, an end with its code, the screen."""

from __future__ import annotations

import os
import signal
from pathlib import Path

import pytest
from trust.terminal import HANG_S, PITWRIGHT, environment, key_bytes, terminal

from pitwright.paths import demo_folder
from pitwright.store.create import copy_demo


def test_the_real_app_is_driven_seen_and_left(tmp_path: Path) -> None:
    demo = copy_demo(demo_folder(), tmp_path / "demo")
    with terminal([PITWRIGHT, "open", str(demo)], environment(tmp_path)) as app:
        app.until(lambda seen: b"Timeline \xc2\xb7 " in seen)
        app.keys("3")
        assert app.shows("Measure · ", 30)
        assert app.lines()[0].startswith(" Measure · ")
        app.settle()
        app.resize(140, 40)
        assert app.answer(30) is not None
        assert app.size == (140, 40)
        assert app.shows("Help", 30)
        app.keys("escape")
        app.drain(0.5)
        app.keys("q")
        assert app.wait(30) == 0


def test_a_hang_is_told_from_life(tmp_path: Path) -> None:
    demo = copy_demo(demo_folder(), tmp_path / "demo")
    with terminal([PITWRIGHT, "open", str(demo)], environment(tmp_path)) as app:
        app.until(lambda seen: b"Timeline \xc2\xb7 " in seen)
        app.settle()
        assert app.answer(30) is not None
        app.drain(1.0)
        os.kill(app.pid, signal.SIGSTOP)
        assert app.answer(HANG_S / 4) is None
        assert app.code is None
        os.kill(app.pid, signal.SIGCONT)
        app.settle()
        assert app.answer(30) is not None
        app.kill()
        assert app.code == -signal.SIGKILL


def test_an_end_is_told_with_its_code(tmp_path: Path) -> None:
    with terminal(["/bin/sh", "-c", "echo so far; exit 3"], environment(tmp_path)) as app:
        assert app.wait(30) == 3
        assert b"so far" in app.seen
        assert app.answer() is None


@pytest.mark.parametrize(
    ("key", "sent"),
    [
        # ECMA-48 control functions with xterm's modifier parameters (ctlseqs, 'PC-Style Keys').
        ("shift+tab", b"\x1b[Z"),
        ("ctrl+home", b"\x1b[1;5H"),
        ("shift+left", b"\x1b[1;2D"),
        ("ctrl+underscore", b"\x1f"),
        ("ctrl+s", b"\x13"),
        ("f9", b"\x1b[20~"),
        ("question_mark", b"?"),
    ],
)
def test_keys_are_sent_as_a_terminal_sends_them(key: str, sent: bytes) -> None:
    assert key_bytes(key) == sent
