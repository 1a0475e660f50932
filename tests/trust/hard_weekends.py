"""Weekends that are hard on a screen: markup, long names, emoji, right-to-left text, many heats."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Mapping
from datetime import datetime
from pathlib import Path

from factory import WeekendMaker, blank_weekend, local, race_weekend, scheduled

from pitwright.paths import demo_folder
from pitwright.weekend.records import Observation, StockChange

MARKUP = "[red]x[/] [@click=app.quit]go[/] [/] $primary [b"
EMOJI = "🏁👨‍👩‍👧🏎️ e\u0301 ½"
HEBREW = "מרוץ ערבי"
ARABIC = "سباق"
HTML = "<script>alert(1)</script> <b>&amp;"
LONG = "A very long name that goes on " * 6

__all__ = ["ARABIC", "EMOJI", "HEBREW", "HTML", "LONG", "MARKUP", "WEEKENDS", "hostile_weekend"]


def _swap(path: Path, changes: Mapping[str, str]) -> None:
    text = path.read_text(encoding="utf-8")
    for old, new in changes.items():
        assert old in text, (path.name, old)
        text = text.replace(old, new)
    path.write_text(text, encoding="utf-8")


def hostile_weekend(folder: Path, words: str) -> datetime:
    """Make a weekend with ``words`` wherever a card or a record takes free text; return its now."""
    line = words[:200].strip()
    quoted = line.replace("\\", "\\\\").replace('"', '\\"')
    maker = WeekendMaker(
        folder,
        schedule=[
            scheduled("P1", "practice", 0, "9:00", 8, 1),
            scheduled("Q1", "qualifier", 1, "9:00", 6, 1),
            scheduled("M" + "x" * 39, "main", 2, "14:00", 45),
        ],
    )
    weekend = folder / "weekend.toml"
    text = weekend.read_text(encoding="utf-8")
    text = text.replace('"Pine Valley Open"', f'"{quoted}"')
    head, mark, tail = text.partition("\n[[heat]]")
    for key in ("venue", "driver", "racing_class"):
        lines = [ln for ln in head.splitlines() if not ln.startswith(f"{key} ")]
        head = "\n".join([*lines, f'{key} = "{quoted}"'])
    weekend.write_text(head + "\n" + mark + tail, encoding="utf-8")
    _relabel(folder / "stock.toml", "label", quoted)
    _relabel(folder / "clutch.toml", "label", quoted)
    _relabel(folder / "clutch.toml", "how", quoted)
    _relabel(folder / "procedure.toml", "title", quoted)
    _relabel(folder / "procedure.toml", "do", quoted)
    for name, kind in (("P1", "practice"), ("Q1", "qualifier")):
        maker.go(0 if name == "P1" else 1, "8:00")
        maker.fit("spring", "S1", reason=line, note=words)
        maker.fit("shoes", "H1", note=words)
        maker.set_recess(1.35, note=words)
        maker.check(note=words, free_length=10.1, shoe_thickness=4.9, end_play=0.25)
        maker.build()
        maker.go(0 if name == "P1" else 1, "9:00")
        heat = maker.heat(
            name,
            kind,
            8,
            [18.2 + i / 50 for i in range(20)],
            trouble=line,
            tyres=line,
            result=line,
            note=words,
        )
        maker.later(5).note(words, about=line, open_point=True)
        maker.correct(heat, line, run_minutes=7.5)
    maker.add(Observation(happened_at=maker.at, how="creep", rpm=12000, note=words))
    maker.add(
        StockChange(
            happened_at=maker.at,
            change="bought",
            place="spring",
            part="S9",
            label=line,
            reason=line,
        )
    )
    return local(1, "12:00")


def _relabel(path: Path, key: str, quoted: str) -> None:
    lines = path.read_text(encoding="utf-8").splitlines()
    made, skip = [], False
    for text in lines:
        if skip:
            skip = '"""' not in text
            continue
        if text.startswith(f"{key} = "):
            skip = text.count('"""') == 1
            made.append(f'{key} = "{quoted}"')
        else:
            made.append(text)
    path.write_text("\n".join(made) + "\n", encoding="utf-8")


def _demo(folder: Path) -> datetime:
    shutil.copytree(demo_folder(), folder)
    return local(2, "12:30")


def _empty(folder: Path) -> datetime:
    blank_weekend(folder)
    return local(0, "8:30")


def _sixty(folder: Path) -> datetime:
    race_weekend(folder, 60)
    return local(2, "14:00")


WEEKENDS: Mapping[str, Callable[[Path], datetime]] = {
    "demo": _demo,
    "empty": _empty,
    "sixty": _sixty,
    "markup": lambda folder: hostile_weekend(folder, f"{MARKUP} {HTML}"),
    "long": lambda folder: hostile_weekend(folder, LONG),
    "emoji": lambda folder: hostile_weekend(folder, EMOJI * 4),
    "right-to-left": lambda folder: hostile_weekend(folder, f"{HEBREW} {ARABIC} 12.5 {HEBREW}"),
}
"""Makers by name: each makes a weekend in a folder and returns a moment within it."""
