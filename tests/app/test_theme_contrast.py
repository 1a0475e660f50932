"""Every sign of every screen can be read in every theme, and the flags told apart.

Contrast ratio and its limits: WCAG 2.2, success criteria 1.4.3 (text, 4.5:1) and 1.4.11 (what is
not text, 3:1). Red-green blindness is simulated with the matrices for severity 1.0 of Machado,
Oliveira and Fernandes, "A physiologically-based model for simulation of color vision deficiency",
IEEE Transactions on Visualization and Computer Graphics 15 (2009), on linear RGB. Distances are
CIE 1976 L*a*b*; 20 is far beyond the 2.3 commonly taken as just noticeable.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from datetime import UTC, datetime
from itertools import combinations
from pathlib import Path

import pytest
from rich.color import ColorSystem
from textual.color import Color
from textual.screen import Screen
from textual.theme import Theme
from textual.widgets import Footer

from pitwright.app.app import PitwrightApp
from pitwright.app.colorless import contrast
from pitwright.app.home import HomeApp
from pitwright.app.terminal_app import TerminalApp
from pitwright.app.themes import COLORS, load_themes
from pitwright.paths import demo_folder, themes_folder
from pitwright.store.create import copy_demo
from pitwright.store.session import Session
from pitwright.store.user import UserFiles

NOW = datetime(2026, 5, 17, 9, 0, tzinfo=UTC)
THEMES: dict[str, Theme] = {t.name: t for t in load_themes([themes_folder()])[0]}
TEXT, FLAGS = 4.5, 3.0
GROUNDS = ("background", "surface", "panel")
QUIETEST = 0.65


def test_the_promised_themes_are_shipped_and_sound() -> None:
    good, bad = load_themes([themes_folder()])
    assert {t.name for t in good} == {"daylight", "night", "high-contrast", "blue-orange", "plain"}
    assert bad == []


def color(theme: Theme, name: str) -> Color:
    found = getattr(theme, name) if name in COLORS else theme.variables[name]
    return Color.parse(found)


@pytest.mark.parametrize("name", THEMES)
def test_words_and_flags_stand_out_from_every_ground(name: str) -> None:
    theme = THEMES[name]
    inks = ("foreground", "primary", "secondary", "accent", "warning", "error", "success")
    for ground in GROUNDS:
        below = color(theme, ground)
        for ink in inks:
            assert contrast(color(theme, ink), below) >= TEXT, (ink, ground)
        quiet = below.blend(color(theme, "foreground"), QUIETEST)
        assert contrast(quiet, below) >= TEXT, ("quiet", ground)
        for flag in ("flag-good", "flag-close", "flag-out"):
            assert contrast(color(theme, flag), below) >= TEXT > FLAGS, (flag, ground)
    cursor = color(theme, "block-cursor-background")
    assert contrast(color(theme, "block-cursor-foreground"), cursor) >= TEXT
    for ground in GROUNDS:
        # where the cursor is has to be seen at all
        assert contrast(cursor, color(theme, ground)) >= FLAGS
    resting = color(theme, "block-cursor-blurred-background")
    quiet = resting.blend(color(theme, "foreground"), QUIETEST)
    assert contrast(color(theme, "foreground"), resting) >= TEXT
    assert contrast(quiet, resting) >= TEXT


@pytest.mark.parametrize("name", ["plain", "high-contrast"])
def test_sixteen_colours_are_enough_for_the_plain_ones(name: str) -> None:
    theme = THEMES[name]

    def shown(name: str) -> tuple[int | None, Color]:
        small = color(theme, name).rich_color.downgrade(ColorSystem.STANDARD)
        return small.number, Color(*small.get_truecolor())

    for ground in GROUNDS:
        for ink in ("foreground", "primary", "accent", "flag-good", "flag-close", "flag-out"):
            assert contrast(shown(ink)[1], shown(ground)[1]) >= TEXT, (ink, ground)
    cursor = shown("block-cursor-background")
    assert cursor[0] != shown("background")[0]
    assert contrast(shown("block-cursor-foreground")[1], cursor[1]) >= TEXT


# Red-green blindness

PROTANOPIA = (
    (0.152286, 1.052583, -0.204868),
    (0.114503, 0.786281, 0.099216),
    (-0.003882, -0.048116, 1.051998),
)
DEUTERANOPIA = (
    (0.367322, 0.860646, -0.227968),
    (0.280085, 0.672501, 0.047413),
    (-0.011820, 0.042940, 0.968881),
)
Matrix = tuple[tuple[float, ...], ...]


def linear(seen: Color) -> list[float]:
    parts = [part / 255 for part in seen.rgb]
    return [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]


def simulated(seen: Color, matrix: Matrix) -> list[float]:
    rgb = linear(seen)
    told = [sum(m * p for m, p in zip(row, rgb, strict=True)) for row in matrix]
    return [min(max(part, 0.0), 1.0) for part in told]


def lab(rgb: list[float]) -> tuple[float, float, float]:
    """From linear sRGB (IEC 61966-2-1, D65) to CIE 1976 L*a*b*."""
    to_xyz = (
        (0.4124, 0.3576, 0.1805),
        (0.2126, 0.7152, 0.0722),
        (0.0193, 0.1192, 0.9505),
    )
    white = (0.95047, 1.0, 1.08883)
    xyz = [sum(m * p for m, p in zip(row, rgb, strict=True)) for row in to_xyz]
    f = [
        t ** (1 / 3) if (t := v / w) > (6 / 29) ** 3 else t / (3 * (6 / 29) ** 2) + 4 / 29
        for v, w in zip(xyz, white, strict=True)
    ]
    return 116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])


def distance(a: Color, b: Color, matrix: Matrix) -> float:
    one, other = lab(simulated(a, matrix)), lab(simulated(b, matrix))
    return sum((p - q) ** 2 for p, q in zip(one, other, strict=True)) ** 0.5


def test_the_simulation_finds_what_it_is_meant_to_find() -> None:
    # A red and a green of about the same lightness are one and the same to a deuteranope.
    red, green = Color.parse("#a35c5c"), Color.parse("#7a6f4d")
    assert distance(red, green, DEUTERANOPIA) < 15
    plain = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
    assert distance(red, green, plain) > 25


@pytest.mark.parametrize("matrix", [PROTANOPIA, DEUTERANOPIA], ids=["protanopia", "deuteranopia"])
def test_the_flags_differ_to_a_red_green_blind_eye(matrix: Matrix) -> None:
    theme = THEMES["blue-orange"]
    flags = [color(theme, f"flag-{flag}") for flag in ("good", "close", "out")]
    for a, b in combinations(flags, 2):
        assert distance(a, b, matrix) > 20, (a.hex, b.hex)


# What is really on the screen


def faint(app: TerminalApp[object]) -> Iterator[tuple[str, str, str, float]]:
    """Yield every word in front whose contrast will not do."""
    compositor = app.screen._compositor
    lines = compositor.render_strips()
    for widget, (region, clip) in compositor.visible_widgets.items():
        if widget.children or isinstance(widget, Screen):
            continue
        shown = region.intersection(clip)
        for y in range(shown.y, shown.bottom):
            for part in lines[y].crop(shown.x, shown.right):
                style, text = part.style, part.text
                if style is None or style.color is None or not any(c.isalnum() for c in text):
                    continue
                ink = Color.from_rich_color(style.color)
                ground = Color.from_rich_color(style.bgcolor)
                ratio = contrast(ink, ground)
                if ratio < TEXT:
                    yield text.strip()[:30], ink.hex, ground.hex, round(ratio, 2)


SCENES = [
    ("timeline", []),
    ("timeline", ["n"]),
    ("timeline", ["k"]),
    ("timeline", ["w"]),
    ("timeline", ["colon"]),
    ("timeline", ["question_mark"]),
    ("build", ["enter"]),
    ("build", ["enter", "b"]),
    ("build", ["enter", "s"]),
    ("measure", ["1"]),
    ("bite", []),
    ("bite", ["y"]),
    ("shims", ["down"]),
    ("pace", []),
    ("pace", ["v"]),
    ("daysheet", []),
    ("ear", ["escape"]),
]


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return copy_demo(demo_folder(), tmp_path_factory.mktemp("themes") / "demo")


@pytest.mark.parametrize(
    ("first", "keys"), SCENES, ids=lambda v: v if isinstance(v, str) else "-".join(v)
)
async def test_every_word_in_front_can_be_read(
    first: str, keys: list[str], demo: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "w"
    shutil.copytree(demo, folder)
    with Session(folder, laptop="tent1", clock=lambda: NOW) as session:
        app = PitwrightApp(session, first=first, clock=lambda: NOW)
        async with app.run_test(size=(110, 32)) as pilot:
            await pilot.pause(0.3)
            for key in keys:
                await pilot.press(key)
                await pilot.pause(0.2)
            for name in THEMES:
                app.theme = name
                await pilot.pause(0.1)
                await pilot.pause()
                assert list(faint(app)) == [], name


async def test_the_list_of_weekends_can_be_read(tmp_path: Path) -> None:
    user = UserFiles(tmp_path / "config", tmp_path / "state")
    user.remember(tmp_path / "gone", "Reedmere Cup", NOW)
    app = HomeApp(user=user)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        assert app.screen.query_one(Footer)
        for name in THEMES:
            app.theme = name
            await pilot.pause(0.1)
            assert list(faint(app)) == [], name
