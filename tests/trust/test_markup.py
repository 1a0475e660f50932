"""Words of the user stay words: on every screen, in every dialog, in every report."""

from __future__ import annotations

from datetime import UTC, datetime
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from factory import LAPTOP
from textual import events
from textual.widgets import Input
from trust.answers import ask_everything
from trust.hard_weekends import EMOJI, HEBREW, HTML, LONG, MARKUP, WEEKENDS, hostile_weekend
from waiting import until

from pitwright.app.app import SCREENS_BY_KEY, PitwrightApp
from pitwright.desk.sheet.day_sheet import day_sheet
from pitwright.report.formats import formatted
from pitwright.signs import first_hidden
from pitwright.store.reader import read_folder
from pitwright.store.session import Session

EVIL = "\x1b[31m\x9b2J\x07\u202ered\x1b]0;x\x07"


class Clock:
    def __init__(self, now: datetime) -> None:
        self.now = now

    def __call__(self) -> datetime:
        return self.now


def opened(folder: Path, now: datetime) -> PitwrightApp:
    clock = Clock(now)
    return PitwrightApp(Session(folder, laptop=LAPTOP, clock=clock), clock=clock)


def segments(app: PitwrightApp) -> list[Any]:
    return [s for strip in app.screen._compositor.render_strips() for s in strip]


def shown(app: PitwrightApp) -> str:
    return "\n".join(
        "".join(s.text for s in strip) for strip in app.screen._compositor.render_strips()
    )


def hold(app: PitwrightApp) -> None:
    """Nothing a terminal would obey is on the screen, and no action came out of a text."""
    for segment in segments(app):
        assert first_hidden(segment.text, keep="") is None
        click = (segment.style.meta if segment.style else {}).get("@click", "")
        assert "quit" not in str(click) or "Quit" in segment.text or "q" in segment.text
    assert not app._exit


@pytest.mark.parametrize("size", [(140, 40), (80, 24)])
async def test_markup_is_shown_as_it_is_written_on_every_screen(tmp_path, size):
    now = hostile_weekend(tmp_path / "w", f"{MARKUP} {HTML}")
    app = opened(tmp_path / "w", now)
    async with app.run_test(size=size, notifications=True) as pilot:
        for key, name, *_rest in SCREENS_BY_KEY:
            await pilot.press("escape", key)
            await pilot.pause(0.05)
            text = shown(app)
            assert "[red]" in text, f"{name}: the name of the weekend is not shown as written"
            hold(app)
        await pilot.press("1", "w")
        await pilot.pause(0.3)
        hold(app)
    app.session.close()


async def test_dialogs_and_details_show_markup_as_it_is_written(tmp_path):
    now = hostile_weekend(tmp_path / "w", f"{MARKUP} {HTML}")
    app = opened(tmp_path / "w", now)
    seen = set()
    async with app.run_test(size=(140, 40), notifications=True) as pilot:
        for number, name, *_rest in SCREENS_BY_KEY:
            await pilot.press("escape", number)
            own = [
                key
                for key, active in app.screen.active_bindings.items()
                if len(key) == 1 and key not in "1234567q" and active.node is not app
            ]
            for key in own:
                await pilot.press(key)
                await pilot.pause()
                seen.add((name, type(app.screen).__name__))
                hold(app)
                for _ in range(3):
                    if app.screen.is_modal:
                        await pilot.press("escape")
                if app.screen.is_modal:
                    await pilot.press("n")
                assert not app.screen.is_modal, (name, key)
                await pilot.press("escape")
    assert len({screen for _name, screen in seen}) > 10, seen
    app.session.close()


@pytest.mark.parametrize(
    "words", [LONG, EMOJI * 4, f"{HEBREW} 12.5 {HEBREW}"], ids=["long", "emoji", "right"]
)
async def test_long_names_emoji_and_right_to_left_fit_every_screen(tmp_path, words):
    now = hostile_weekend(tmp_path / "w", words)
    app = opened(tmp_path / "w", now)
    async with app.run_test(size=(80, 24), notifications=True) as pilot:
        for key, *_rest in SCREENS_BY_KEY:
            await pilot.press("escape", key)
            await pilot.pause(0.05)
            hold(app)
            for strip in app.screen._compositor.render_strips():
                assert sum(s.cell_length for s in strip) == 80
    app.session.close()


async def test_a_notice_never_takes_brackets_for_orders(tmp_path):
    app = opened(tmp_path / "w", WEEKENDS["empty"](tmp_path / "w"))
    async with app.run_test(size=(120, 40), notifications=True) as pilot:
        app.notify(f"{MARKUP} {EVIL}", title=f"{MARKUP}{EVIL}", timeout=60)
        app.screen.notify("[/nothing] [@click=app.quit]x[/]", markup=True)
        await pilot.pause(0.2)
        text = shown(app)
        assert "[red]x[/]" in text
        assert "[/nothing]" in text
        hold(app)
    app.session.close()


async def test_what_is_pasted_and_what_is_drawn_holds_no_escapes(tmp_path):
    app = opened(tmp_path / "w", WEEKENDS["demo"](tmp_path / "w"))
    async with app.run_test(size=(120, 40), notifications=True) as pilot:
        await pilot.press("n")
        await pilot.pause()
        field = app.screen.query(Input).first()
        field.focus()
        await pilot.pause()
        app.post_message(events.Paste(f"a{EVIL}b"))
        await pilot.pause()
        assert first_hidden(field.value) is None
        assert field.value.startswith("a[31m")
        field.value = f"x{EVIL}y"  # as if it had come by another way
        await pilot.pause()
        hold(app)
    app.session.close()


async def test_a_whole_file_pasted_into_a_field_is_no_crash(tmp_path):
    app = opened(tmp_path / "w", WEEKENDS["demo"](tmp_path / "w"))
    async with app.run_test(size=(120, 40), notifications=True) as pilot:
        await pilot.press("n")
        await pilot.pause()
        field = app.screen.query(Input).first()
        app.post_message(events.Paste("x" * 50_000))
        await pilot.pause()
        assert len(field.value) == 50_000
        assert len(app.session.weekend.open.drafts["note"].fields["text"]) == 4000
        await pilot.press("f2")
        await pilot.pause()
        assert len(field.value) == 50_000, "what was typed stays"
    app.session.close()


async def test_a_folder_named_with_escapes_and_markup(tmp_path):
    folder = tmp_path / f"w [red]x[/] \x1b[31m{HEBREW}"
    now = WEEKENDS["demo"](folder)
    (folder / "log" / f"[blink]{EVIL.replace('/', '')}.toml").write_text("x")
    (folder / "laps" / "[bold]\u202e.csv").write_text("x")
    app = opened(folder, now)
    async with app.run_test(size=(120, 40), notifications=True) as pilot:
        await until(pilot, lambda: "[blink]" in shown(app))
        hold(app)
        (folder / "weekend.toml").write_text(f"format = 1 # {HEBREW}\n\x1b")
        app.outside.look()
        await pilot.pause(0.2)
        hold(app)
    app.session.close()


class Page(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))


@pytest.mark.parametrize("words", [f"{MARKUP} {HTML}", f"\"'><img src=x onerror=alert(1)> {HTML}"])
def test_the_page_of_a_day_has_no_script_and_asks_nobody(tmp_path, words):
    now = hostile_weekend(tmp_path / "w", words)
    weekend = read_folder(tmp_path / "w", LAPTOP).weekend
    assert weekend is not None
    made = formatted(day_sheet(weekend, now, None), "html")
    page = Page()
    page.feed(made)
    names = {tag for tag, _ in page.tags}
    assert not names & {"script", "iframe", "object", "embed", "form", "base", "link", "audio"}
    policy = next(
        a["content"] for t, a in page.tags if a.get("http-equiv") == "Content-Security-Policy"
    )
    assert policy is not None
    assert "default-src 'none'" in policy
    assert "script" not in policy.replace("script-src 'none'", "")
    for tag, attributes in page.tags:
        assert not [a for a in attributes if a.startswith("on")], (tag, attributes)
        for name in ("src", "href", "action", "data", "srcset", "poster"):
            given = attributes.get(name) or ""
            assert given.startswith(("data:image/", "#")) or not given, (tag, given)
    # The words of the user stand there as words.
    assert "&lt;script&gt;" in made
    assert "<script" not in made.lower()
    assert "onerror" not in {a for _t, attrs in page.tags for a in attrs}
    assert first_hidden(made) is None


def test_every_line_said_about_hostile_words_is_fit_to_be_shown(tmp_path):
    for name, make in WEEKENDS.items():
        now = make(tmp_path / name)
        weekend = read_folder(tmp_path / name, LAPTOP).weekend
        assert weekend is not None
        for line in ask_everything(weekend, now):
            assert first_hidden(line) is None
    assert now.tzinfo is UTC or now.utcoffset() is not None
