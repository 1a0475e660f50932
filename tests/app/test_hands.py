"""Hands: a keypad, keys of one's own, copying, the palette, the help, small and poor terminals."""

from __future__ import annotations

import base64
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
from textual.command import CommandList, CommandPalette
from textual.pilot import Pilot
from textual.widgets import OptionList
from waiting import until

from pitwright.app.app import SCREENS_BY_KEY, PitwrightApp
from pitwright.app.figures import Figure, figures_in, figures_on
from pitwright.app.glyphs import TO_ASCII, in_ascii, lacks_unicode
from pitwright.app.keymap import EATEN, all_keys, as_toml, load_keymap
from pitwright.app.screens.help import HelpScreen, key_lines
from pitwright.app.widgets.dialogs import Choice, Confirm, FormDialog, Pick
from pitwright.app.widgets.key_line import KeyLine
from pitwright.paths import demo_folder
from pitwright.store.create import copy_demo, new_weekend
from pitwright.store.session import Session
from pitwright.store.user import UserFiles
from pitwright.weekend.records import Check

NOW = datetime(2026, 5, 17, 9, 0, tzinfo=UTC)
NAMES = [name for _key, name, *_ in SCREENS_BY_KEY]
Work = Pilot[Any]


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return copy_demo(demo_folder(), tmp_path_factory.mktemp("hands") / "demo")


@pytest.fixture
def fresh(tmp_path: Path) -> Path:
    place = tmp_path / "fresh"
    new_weekend(place, name="W", time_zone="Europe/Lisbon", starts_on=date(2026, 5, 15))
    return place


@pytest.fixture
def user(tmp_path: Path) -> UserFiles:
    return UserFiles(tmp_path / "config", tmp_path / "state")


@asynccontextmanager
async def working(
    folder: Path, first: str = "timeline", size: tuple[int, int] = (80, 24), **more: Any
) -> AsyncIterator[Work]:
    with Session(folder, laptop="tent1", clock=lambda: NOW) as session:
        app = PitwrightApp(session, first=first, clock=lambda: NOW, **more)
        async with app.run_test(size=size, notifications=True) as pilot:
            await pilot.pause(0.1)
            yield pilot


def screen_text(pilot: Work) -> str:
    return "\n".join(s.text for s in pilot.app.screen._compositor.render_strips())


def notices(pilot: Work) -> list[str]:
    return [n.message for n in pilot.app._notifications]


# The keypad


async def test_a_check_is_taken_with_the_keypad_alone(fresh: Path) -> None:
    async with working(fresh, "measure") as pilot:
        screen = pilot.app.screen
        recess = next(e for e in screen.entries if e.quantity == "recess")  # type: ignore[attr-defined]
        recess.line.focus()
        await pilot.pause()
        first, second = ["1", "full_stop", "3", "5"], ["1", "comma", "3", "6"]
        for key in [*first, "plus", *second, "asterisk", *first]:
            await pilot.press(key)
        assert recess.typed == "1.35 1,36 1.35"
        for _ in range(12):
            await pilot.press("enter")
            await pilot.pause()
            if isinstance(pilot.app.screen, Confirm):
                break
        await pilot.press("1")
        await pilot.pause()
        checks = [r for r in pilot.app.weekend.log.records if isinstance(r, Check)]  # type: ignore[attr-defined]
        assert [r.quantity for r in checks[0].readings] == ["recess"]
        assert checks[0].readings[0].value_mm == pytest.approx(1.3533, abs=1e-3)


async def test_a_sign_in_front_stays_and_a_second_separator_adds_nothing(fresh: Path) -> None:
    async with working(fresh, "measure") as pilot:
        entry = pilot.app.screen.entries[0]  # type: ignore[attr-defined]
        entry.line.focus()
        for key in ("plus", "1", "0", "plus", "plus", "1", "1"):
            await pilot.press(key)
        assert entry.typed == "+10 11"


async def test_questions_and_lists_answer_to_numbers(fresh: Path) -> None:
    async with working(fresh) as pilot:
        answers: list[object] = []
        pilot.app.push_screen(Confirm("Sure?"), answers.append)
        await pilot.pause()
        await pilot.press("0")
        pilot.app.push_screen(Pick("Which?", [Choice("a", "A"), Choice("b", "B")]), answers.append)
        await pilot.pause()
        await pilot.press("3")
        await pilot.press("2")
        await pilot.pause()
        assert answers == [False, "b"]


# Keys


def test_every_action_has_a_name_and_no_key_that_is_eaten() -> None:
    actions = all_keys(PitwrightApp)
    assert len(actions) > 100
    for action in actions:
        assert "." in action.name
        assert action.tells, f"{action.name} says nothing of what it does"
        assert not set(action.keys) & set(EATEN), action.name


def write_keys(user: UserFiles, lines: str) -> None:
    user.config.mkdir(parents=True, exist_ok=True)
    user.keys.write_text(f"[keys]\n{lines}\n", encoding="utf-8")


async def test_a_key_of_ones_own_works_and_the_old_one_no_more(
    fresh: Path, user: UserFiles
) -> None:
    write_keys(user, '"show.build" = "f9"\n"screen.clock" = "K"\n"app.rescue" = "f7"')
    async with working(fresh, user=user) as pilot:
        assert notices(pilot) == []
        await pilot.press("2")
        await pilot.pause()
        assert pilot.app.screen.TITLE == "Timeline"
        await pilot.press("f9")
        await pilot.pause()
        assert pilot.app.screen.TITLE == "Build"
        await pilot.press("K")
        await pilot.pause()
        assert pilot.app.screen.TITLE == "Pit clock"


async def test_bad_lines_are_left_out_and_said_once(fresh: Path, user: UserFiles) -> None:
    write_keys(
        user,
        '"build.tikc" = "x"\n"build.note" = "ctrl+b"\n"build.skip" = "hyperspace"\n'
        '"build.fit" = "m"\n"build.pause" = 3\n"show.pace" = "f5"',
    )
    async with working(fresh, user=user) as pilot:
        said = notices(pilot)
        assert len(said) == 1
        for name, why in (
            ("build.tikc", "there is no such action"),
            ("build.note", "multiplexers"),
            ("build.skip", "is no key"),
            ("build.fit", "m already does build.measure"),
            ("build.pause", "a key is wanted"),
        ):
            assert any(name in line and why in line for line in said[0].splitlines()), name
        await pilot.press("f5")
        await pilot.pause()
        assert pilot.app.screen.TITLE == "Pace"


async def test_two_new_keys_may_change_places(user: UserFiles) -> None:
    write_keys(user, '"build.fit" = "m"\n"build.measure" = "f"')
    keymap, bad = load_keymap(user.keys, PitwrightApp)
    assert bad == []
    assert keymap == {"build.fit": "m", "build.measure": "f"}


async def test_a_keymap_that_is_no_toml_is_said_and_all_keys_stay(
    fresh: Path, user: UserFiles
) -> None:
    user.config.mkdir(parents=True)
    user.keys.write_text("[keys", encoding="utf-8")
    async with working(fresh, user=user) as pilot:
        assert "keys.toml: is not valid TOML" in notices(pilot)[0]
        await pilot.press("2")
        await pilot.pause()
        assert pilot.app.screen.TITLE == "Build"


def test_the_list_of_keys_is_itself_a_keymap_once_uncommented(user: UserFiles) -> None:
    text = as_toml(all_keys(PitwrightApp))
    user.config.mkdir(parents=True)
    user.keys.write_text(
        "\n".join(line.removeprefix("# ") if '" = "' in line else line for line in text.split("\n"))
    )
    keymap, bad = load_keymap(user.keys, PitwrightApp)
    assert bad == []
    assert len(keymap) == len(all_keys(PitwrightApp))


# Palette, help, footer


async def test_the_palette_knows_every_key_of_the_screen(demo: Path) -> None:
    for first in NAMES:
        async with working(demo, first) as pilot:
            screen = pilot.app.screen
            known = {c.title for c in pilot.app.get_system_commands(screen)}
            for active in screen.active_bindings.values():
                binding = active.binding
                if not binding.id or binding.action == "command_palette" or binding.system:
                    continue
                told = ": ".join(x for x in (binding.description, binding.tooltip) if x)
                assert told in known, (first, binding.id)


async def test_a_palette_entry_does_what_its_key_does(demo: Path) -> None:
    async with working(demo) as pilot:
        await pilot.press("colon")
        await pilot.pause()
        assert isinstance(pilot.app.screen, CommandPalette)
        for key in "go to pace".replace(" ", "_"):
            await pilot.press("space" if key == "_" else key)
        for _ in range(40):
            await pilot.pause(0.05)
            if pilot.app.screen.query_one(CommandList).option_count == 1:
                break
        await pilot.press("enter")
        await pilot.pause(0.3)
        assert pilot.app.screen.TITLE == "Pace"


async def test_colours_are_chosen_by_a_key_and_remembered(fresh: Path, user: UserFiles) -> None:
    async with working(fresh, user=user) as pilot:
        assert pilot.app.theme == "night"
        await pilot.press("f8")
        await pilot.pause()
        pick = pilot.app.screen.query_one(OptionList)
        at = next(i for i, o in enumerate(pick.options) if o.id == "daylight")
        await pilot.press(str(at + 1))
        await pilot.pause()
        assert pilot.app.theme == "daylight"
    async with working(fresh, user=user) as pilot:
        assert pilot.app.theme == "daylight"
    async with working(fresh, user=user, theme="plain") as pilot:
        assert pilot.app.theme == "plain"
    async with working(fresh, user=user, theme="pink") as pilot:
        assert pilot.app.theme == "daylight"
        assert "there is no theme 'pink'" in notices(pilot)[0]


async def test_a_users_theme_is_offered_and_a_broken_one_said_once(
    fresh: Path, user: UserFiles
) -> None:
    user.themes.mkdir(parents=True)
    own = (Path(demo_folder()).parent / "themes" / "night.toml").read_text(encoding="utf-8")
    (user.themes / "mine.toml").write_text(own.replace('"night"', '"mine"'), encoding="utf-8")
    (user.themes / "broken.toml").write_text('name = "broken"\n[colors]\n', encoding="utf-8")
    async with working(fresh, user=user, theme="mine") as pilot:
        assert pilot.app.theme == "mine"
        await until(pilot, lambda: notices(pilot))
        assert notices(pilot) == ["broken.toml: colors.primary: must be a colour such as #1c2126"]


@pytest.mark.parametrize("first", NAMES)
async def test_each_screen_has_a_purpose_a_help_and_its_own_keys_first(
    first: str, demo: Path
) -> None:
    async with working(demo, first) as pilot:
        screen = pilot.app.screen
        await pilot.press("f1")
        await pilot.pause()
        assert isinstance(pilot.app.screen, HelpScreen)
        keys = key_lines(screen)
        assert len(screen.PURPOSE) > 20  # type: ignore[attr-defined]
        assert len(screen.HELP_TEXT.split()) > 30  # type: ignore[attr-defined]
        assert not any("Go to Timeline" in line for line in [*keys.own, *keys.not_now])
        assert any("Go to Timeline" in line for line in keys.general)
        await pilot.press("escape")
        await pilot.pause()
        assert pilot.app.screen is screen


@pytest.mark.parametrize("first", NAMES)
async def test_the_bottom_line_ends_with_help_and_shows_all(first: str, demo: Path) -> None:
    async with working(demo, first) as pilot:
        await pilot.pause(0.2)
        line = pilot.app.screen.query_one(KeyLine)
        keys = line.keys
        assert keys[-1].words.strip() == "Help"
        assert keys[-1].end <= 80
        shown = {k.words.strip() for k in keys}
        wanted = {
            a.binding.description
            for a in pilot.app.screen.active_bindings.values()
            if a.binding.show and a.binding.id != "app.quit"
        }
        # What has no room at 80 columns, last of all: the help and the palette have it.
        assert wanted - shown <= ({"Best", "Laps"} if first == "timeline" else set())


@pytest.mark.parametrize("key", ["w", "enter"])
async def test_a_screen_over_another_has_its_help_and_copies_too(key: str, demo: Path) -> None:
    async with working(demo) as pilot:
        await pilot.press(key)
        await pilot.pause(0.5)
        over = pilot.app.screen
        assert over.is_modal
        await pilot.press("f1")
        await pilot.pause()
        assert isinstance(pilot.app.screen, HelpScreen)
        await pilot.press("escape")
        await pilot.press("y")
        await pilot.pause()
        assert isinstance(pilot.app.screen, Pick)
        await pilot.press("escape")
        await pilot.pause()
        assert pilot.app.screen is over


# Copying


def test_figures_are_found_with_their_units_and_words() -> None:
    found = list(figures_in(["│ Bite   11 870 ± 630 rpm  at 14:05", "19 steps, 1,35 mm, S2"]))
    assert [f.text for f in found] == ["11 870 ± 630 rpm", "14:05", "1,35 mm"]
    assert found[0] == Figure("11 870 ± 630 rpm", "Bite 11 870 ± 630 rpm at 14:05")


async def test_a_figure_goes_to_the_terminals_clipboard(
    demo: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with working(demo, "bite") as pilot:
        await pilot.pause(0.3)
        written: list[str] = []
        driver = pilot.app._driver
        assert driver is not None
        monkeypatch.setattr(driver, "write", written.append)
        wanted = figures_on(pilot.app.screen)[0].text
        await pilot.press("y")
        await pilot.pause()
        assert isinstance(pilot.app.screen, Pick)
        await pilot.press("enter")
        await pilot.pause()
        sent = base64.b64encode(wanted.encode()).decode()
        assert f"\x1b]52;c;{sent}\a" in written
        assert pilot.app.clipboard == wanted


@pytest.mark.parametrize("first", [n for n in NAMES if n != "build"])
async def test_every_screen_of_the_demo_has_figures_to_copy(first: str, demo: Path) -> None:
    async with working(demo, first) as pilot:
        await pilot.pause(0.3)
        assert figures_on(pilot.app.screen)


# Terminals that can do less


@pytest.mark.parametrize(
    ("environ", "lacks"),
    [
        ({}, False),
        ({"LANG": "en_GB.UTF-8"}, False),
        ({"LANG": "C"}, True),
        ({"LANG": "C", "LC_CTYPE": "C.UTF-8"}, True),
        ({"LC_CTYPE": "C.UTF-8"}, False),
        ({"LANG": "de_DE.UTF-8", "LC_ALL": "POSIX"}, True),
        ({"LANG": "de_DE.ISO-8859-1"}, True),
        ({"PYTHONIOENCODING": "ascii", "LANG": "en_GB.UTF-8"}, True),
        ({"PYTHONIOENCODING": "utf-8:replace", "LANG": "C"}, False),
        ({"TERM": "linux", "LANG": "en_GB.UTF-8"}, True),
    ],
)
def test_what_the_terminal_says_decides(environ: dict[str, str], lacks: bool) -> None:
    assert lacks_unicode(environ) is lacks


def test_every_replacement_is_one_sign_wide() -> None:
    assert all(len(told) == 1 and told.isascii() for told in TO_ASCII.values())
    assert in_ascii("Ünal · 漢 ─┐") == "Unal - ? -+".replace("? ", "?  ")


def test_verdicts_stay_apart_without_unicode() -> None:
    assert len({TO_ASCII[sign] for sign in "✓≈✗"}) == 3


@pytest.mark.parametrize("first", [*NAMES, "ear"])
async def test_a_screen_without_unicode_is_all_ascii_and_no_narrower(
    first: str, demo: Path
) -> None:
    async with working(demo, first, ascii_only=True) as pilot:
        await pilot.pause(0.3)
        for y, strip in enumerate(pilot.app.screen._compositor.render_strips()):
            shown = strip.apply_filter(pilot.app._filters[-1], pilot.app.screen.styles.background)
            assert shown.text.isascii(), y
            assert shown.cell_length == strip.cell_length == 80
        lines = screen_lines_as_sent(pilot)
        assert all(line.isascii() for line in lines)


def screen_lines_as_sent(pilot: Work) -> list[str]:
    app = pilot.app
    sent = []
    for strip in app.screen._compositor.render_strips():
        for line_filter in app.get_line_filters():
            strip = strip.apply_filter(line_filter, app.screen.styles.background)
        sent.append(strip.text)
    return sent


async def test_no_color_leaves_no_colour_and_shows_the_cursor_reversed(
    demo: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    async with working(demo, "build") as pilot:
        app = pilot.app
        reversed_text = ""
        for strip in app.screen._compositor.render_strips():
            for line_filter in app.get_line_filters():
                strip = strip.apply_filter(line_filter, app.screen.styles.background)
            for part in strip:
                style = part.style
                assert style is None or style.color is None or style.color.is_default
                assert style is None or style.bgcolor is None or style.bgcolor.is_default
                if style is not None and style.reverse:
                    reversed_text += part.text
        assert "Full rebuild" in reversed_text
        assert "Recess only" not in reversed_text


async def test_sixteen_colours_bring_the_plain_theme(
    fresh: Path, monkeypatch: pytest.MonkeyPatch, user: UserFiles
) -> None:
    monkeypatch.setattr(PitwrightApp, "has_few_colors", property(lambda _self: True), raising=True)
    user.keep_theme("daylight")
    async with working(fresh, user=user) as pilot:
        assert pilot.app.theme == "plain"
    async with working(fresh, user=user, theme="night") as pilot:
        assert pilot.app.theme == "night"


@pytest.mark.parametrize("size", [(60, 18), (40, 12), (12, 4), (200, 10)])
async def test_a_small_window_says_so_and_never_ends_the_app(
    size: tuple[int, int], demo: Path
) -> None:
    async with working(demo, size=size) as pilot:
        if size[0] >= 40:
            assert f"{size[0]} x {size[1]}: made for" in screen_text(pilot)
        for key, _name, title, *_ in SCREENS_BY_KEY:
            await pilot.press("escape", key)
            await pilot.pause(0.1)
            assert title == pilot.app.screen.TITLE
            await pilot.press("escape", "shift+down", "shift+right", "question_mark")
            await pilot.pause()
            await pilot.press("escape")


@pytest.mark.parametrize("size", [(80, 24), (60, 15)])
async def test_arrows_go_from_line_to_line_of_a_form_longer_than_the_screen(
    demo: Path, size: tuple[int, int]
) -> None:
    """They typed the bite's rating into the air's temperature when the form began to scroll."""
    async with working(demo, size=size) as pilot:
        await pilot.press("e")
        await pilot.pause(0.2)
        assert isinstance(pilot.app.screen, FormDialog)
        been = []
        for key in ("down", "down", "down", "down", "down", "down", "up", "up"):
            await pilot.press(key)
            await pilot.pause(0.05)
            assert pilot.app.focused is not None
            been.append(pilot.app.focused.id)
        assert been == [
            f"field-{name}"
            for name in (
                "start",
                "minutes",
                "status",
                "result",
                "bite",
                "consistency",
                "bite",
                "result",
            )
        ]
