"""A hundred and more invented shapes of lap file: what a careful person would read, or a question.

shapes.txt says how it is written. What is read silently and wrong is told apart from what is only
refused, because the first is what makes somebody set a clutch by another's laps.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from pitwright.timing.laps import LapPreview, read_laps
from pitwright.timing.text import LapFileError

Laps = tuple[tuple[float, str], ...]
"""Seconds and mark of each lap."""

_ENCODINGS = {"utf16": "utf-16", "cp1251": "cp1251", "sjis": "shift_jis", "latin": "latin-1"}


@dataclass
class Shape:
    name: str
    options: set[str]
    lines: list[str] = field(default_factory=list)
    laps: Laps | None = None
    choices: dict[str, Laps] = field(default_factory=dict)
    out: list[str] = field(default_factory=list)
    refuse: str = ""
    note: str = ""

    @property
    def data(self) -> bytes:
        text = "\n".join(self.lines).replace("⇥", "\t").replace("⏏", "\f") + "\n"
        if "crlf" in self.options:
            text = text.replace("\n", "\r\n")
        if "bom" in self.options:
            text = "\ufeff" + text
        encodings = [_ENCODINGS[each] for each in self.options if each in _ENCODINGS]
        return text.encode(encodings[0] if encodings else "utf-8")


def _laps(text: str) -> Laps:
    found = re.findall(r"([\d.]+)(?:\(([^)]*)\))?", text)
    return tuple((float(seconds), mark) for seconds, mark in found)


def _shapes() -> Iterator[Shape]:
    shape: Shape | None = None
    text = (Path(__file__).parent / "shapes.txt").read_text(encoding="utf-8")
    for line in text.split("\n"):
        if line.startswith("=== "):
            if shape is not None:
                yield shape
            name, *options = re.split(r" @", line[4:])
            shape = Shape(name, {each.strip() for each in options})
        elif shape is None:
            continue
        elif line.startswith("--- "):
            key, _, rest = line[4:].partition(": ")
            if key == "laps":
                shape.laps = _laps(rest)
            elif key == "ask":
                name, _, laps = rest.partition(" = ")
                shape.choices[name] = _laps(laps)
            elif key == "out":
                shape.out.append(rest)
            elif key == "note":
                shape.note = rest
            else:
                assert key == "refuse", line
                shape.refuse = rest
        elif shape.laps is None and not shape.choices and not shape.refuse:
            shape.lines.append(line)
    if shape is not None:
        yield shape


SHAPES = list(_shapes())


def read(preview: LapPreview) -> Laps:
    return tuple((round(lap, 6), preview.marks.get(n, "")) for n, lap in enumerate(preview.laps, 1))


def fault(shape: Shape) -> str:
    """What is wrong with how a shape is read; '' when nothing is."""
    try:
        preview = read_laps(shape.data)
    except LapFileError as error:
        return "" if shape.refuse and shape.refuse in str(error) else f"refused: {error}"
    reasons = [each.reason for each in preview.rejected]
    if preview.question:
        if not shape.choices:
            return f"asks {preview.question}"
        if set(preview.question) != set(shape.choices):
            return f"asks wrong {preview.question}"
        for name, laps in shape.choices.items():
            found = read(read_laps(shape.data, driver=name))
            if found != laps:
                return f"SILENTLY WRONG after {name}: {found}"
        return ""
    if not preview.laps:
        if shape.refuse and any(shape.refuse in reason for reason in reasons):
            return ""
        return f"refused: {reasons}"
    found = read(preview)
    if found != shape.laps:
        lost = shape.laps is not None and set(found) < set(shape.laps) and preview.rejected
        return f"{'lost' if lost else 'SILENTLY WRONG'}: {found} {reasons}"
    if shape.note not in " ".join(preview.understood.notes):
        return f"no note: {preview.understood.notes}"
    missing = [part for part in shape.out if not any(part in reason for reason in reasons)]
    return f"no reason {missing} in {reasons}" if missing else ""


def test_there_are_as_many_shapes_as_were_asked_for() -> None:
    assert len({shape.name for shape in SHAPES}) == len(SHAPES) >= 80
    assert all(bool(s.laps) + bool(s.choices) + bool(s.refuse) == 1 for s in SHAPES)


@pytest.mark.parametrize("shape", SHAPES, ids=[shape.name for shape in SHAPES])
def test_a_shape_is_read_right_or_asked_about(shape: Shape) -> None:
    assert fault(shape) == ""


if __name__ == "__main__":
    faults = {shape.name: fault(shape) for shape in SHAPES}
    for shape_name, said in faults.items():
        if said:
            print(f"{shape_name}: {said}"[:220])
    wrong = sum("SILENTLY" in said for said in faults.values())
    right = sum(not said for said in faults.values())
    print(f"{len(faults)} shapes: {right} as they should be, {wrong} silently wrong")
