"""The bottom line: what it shows, what a click does, what gives way when there is no room."""

from __future__ import annotations

from typing import ClassVar

import pytest
from textual.app import App, ComposeResult
from textual.binding import Binding, BindingType
from textual.content import Content

from pitwright.app.widgets.key_line import KeyLine


class Small(App[None]):
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("a", "note('a')", "Add", tooltip="Add one"),
        Binding("question_mark", "help", "Help", key_display="?"),
        Binding("e", "note('e')", "Edit"),
        Binding("f9", "note('f9')", "Hidden", show=False),
        Binding("s", "stop", "Stop"),
        Binding("t", "note('a')", "Twice"),
    ]
    off: bool | None = True

    def __init__(self) -> None:
        super().__init__()
        self.noted: list[str] = []

    def compose(self) -> ComposeResult:
        yield KeyLine()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        return self.off if action == "stop" else True

    def action_note(self, what: str) -> None:
        self.noted.append(what)

    def action_help(self) -> None:
        self.noted.append("help")

    def action_stop(self) -> None:
        self.noted.append("stop")


def drawn(app: App[None]) -> str:
    content = app.query_one(KeyLine).render()
    assert isinstance(content, Content)
    return content.plain


@pytest.mark.parametrize("width", [40, 80])
async def test_the_help_stands_at_the_end_whatever_the_order(width: int) -> None:
    app = Small()
    async with app.run_test(size=(width, 5)) as pilot:
        await pilot.pause()
        assert drawn(app).startswith(" a Add  e Edit  s Stop ")
        assert drawn(app).endswith("▏ ? Help ")
        assert len(drawn(app)) == width
        assert "Hidden" not in drawn(app)
        assert "Twice" not in drawn(app)


async def test_first_the_gaps_give_way_then_whole_keys() -> None:
    app = Small()
    async with app.run_test(size=(29, 5)) as pilot:
        await pilot.pause()
        assert drawn(app) == "a Add e Edit s Stop  ▏? Help "
        await pilot.resize_terminal(20, 5)
        await pilot.pause()
        assert drawn(app) == "a Add       ▏? Help "
        assert [key.words.strip() for key in app.query_one(KeyLine).keys] == ["Add", "Help"]


async def test_a_click_presses_the_key_under_it() -> None:
    app = Small()
    async with app.run_test(size=(80, 5)) as pilot:
        await pilot.pause()
        for key in app.query_one(KeyLine).keys:
            await pilot.click(KeyLine, offset=(key.start, 0))
            await pilot.click(KeyLine, offset=(key.end - 1, 0))
        await pilot.click(KeyLine, offset=(40, 0))
        assert app.noted == ["a", "a", "e", "e", "stop", "stop", "help", "help"]


async def test_a_key_that_cannot_act_now_is_faint_and_does_nothing() -> None:
    app = Small()
    async with app.run_test(size=(80, 5)) as pilot:
        app.off = None
        app.refresh_bindings()
        await pilot.pause()
        [stop] = [k for k in app.query_one(KeyLine).keys if "Stop" in k.words]
        assert not stop.enabled
        await pilot.click(KeyLine, offset=(stop.start, 0))
        assert app.noted == []
        app.off = False
        app.refresh_bindings()
        await pilot.pause()
        assert "Stop" not in drawn(app)


async def test_the_mouse_over_a_key_tells_what_it_does() -> None:
    app = Small()
    async with app.run_test(size=(80, 5)) as pilot:
        await pilot.pause()
        line = app.query_one(KeyLine)
        await pilot.hover(KeyLine, offset=(1, 0))
        assert line.over == 0
        assert line.tooltip == "Add one"
        await pilot.hover(KeyLine, offset=(40, 0))
        assert line.over is None
        assert line.tooltip is None
