"""What a card or a record cannot be: refused by the store's reader with file, key and reason."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest
from factory import blank_weekend
from pydantic import ValidationError

from pitwright.store.reader import read_folder
from pitwright.weekend.card import HotPart
from pitwright.weekend.figures import Figure
from pitwright.weekend.records import NoteRecord

TORQUE = 'torque = { value = "0.3 N m", from = "maker" }'
POINT = '{ speed = { value = "9000 rpm", from = "maker" }, ' + TORQUE + " }"
HEAT = '\n[[heat]]\nname = "{}"\nkind = "main"\nstarts_at = 2026-05-16T10:00:00{}\nminutes = 8\n'


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return blank_weekend(tmp_path_factory.mktemp("refusals") / "weekend")


def told(folder: Path) -> list[tuple[str, str, str]]:
    return [(p.file, p.key, p.reason) for p in read_folder(folder, "tent1").problems]


@pytest.mark.parametrize(
    ("card", "old", "new", "key", "reason"),
    [
        # the clutch
        (
            "clutch",
            'torque = { value = "0.40 N m", from = "invented" }',
            f"curve = [{POINT}]",
            "engine",
            "needs 'torque', or 'curve' with at least two points",
        ),
        (
            "clutch",
            'torque = { value = "0.40 N m", from = "invented" }',
            f"curve = [{POINT}, {POINT}]",
            "engine",
            "the speeds of 'curve' must rise from point to point",
        ),
        (
            "clutch",
            'low = { value = "0.15 mm"',
            'low = { value = "0.95 mm"',
            "quantities.bell_clearance",
            "no value could be good between 0.95 and 0.95 mm",
        ),
        (
            "clutch",
            'label = "Bell bore"\nof = "bell"\ninstrument = "caliper"',
            'label = "Bell bore"\nof = "bell"\ninstrument = "bore gauge"',
            "",
            "quantities.bell_bore.instrument names 'bore gauge', which is not under 'instruments'",
        ),
        # figures
        (
            "clutch",
            'pitch = { value = "0.75 mm", from = "maker" }',
            "pitch = 0.75",
            "nut.pitch",
            'must be a table such as { value = "1.0 mm", from = "measured" }',
        ),
        (
            "clutch",
            'value = "0.75 mm"',
            'value = "2000000 m"',
            "nut.pitch",
            "'value' is far too large",
        ),
        (
            "clutch",
            'value = "0.9 g"',
            'value = "-0.9 g"',
            "shoes.mass",
            "'value' cannot be below 0",
        ),
        (
            "clutch",
            'value = "60 K"',
            'value = "60 celsius"',
            "spring.hot_above_bench",
            'a rise of temperature is written in kelvin, such as "60 K"',
        ),
        # texts and names
        (
            "clutch",
            'how = "At the tightest place of the spur"',
            f'how = "{"x" * 201}"',
            "quantities.gear_mesh.how",
            "longer than 200 signs",
        ),
        (
            "procedure",
            'title = "Taper collet clean and dry"',
            'title = "Taper collet\\tclean and dry"',
            "step[4].title",
            "must be a single line without tabs",
        ),
        (
            "procedure",
            'do = "Collet and crank taper free of oil.',
            f'do = "{"x" * 4000}',
            "step[4].do",
            "longer than 4000 signs",
        ),
        (
            "stock",
            'id = "S1"',
            'id = "S1/"',
            "spring[1].id",
            "must be 1 to 40 letters, digits, spaces, dots, dashes, starting and ending with a "
            "letter or digit",
        ),
        (
            "stock",
            'id = "S1"',
            'id = "Aux.1"',
            "spring[1].id",
            "is a device name on some systems and cannot name a file",
        ),
        # the parts owned
        ("stock", 'id = "H1"', 'id = "s1"', "", "two parts are called 's1'"),
        (
            "stock",
            'value = "0.15 mm"',
            'value = "100 um"',
            "",
            "two 'shim' entries have the same thickness; add their counts",
        ),
        # the steps
        (
            "procedure",
            'id = "collet"',
            'id = "strip"',
            "",
            "two steps are called 'strip'",
        ),
        (
            "procedure",
            'torque = { feel = "Very tight, by feel", caution',
            "torque = { caution",
            "step[6].torque",
            "needs 'figure' or 'feel'",
        ),
        # the weekend
        (
            "weekend",
            'driver = ""',
            'driver = ""\n' + HEAT.format("Main", "+01:00"),
            "heat[1].starts_at",
            "write the venue's local time without an offset",
        ),
        (
            "weekend",
            'driver = ""',
            'driver = ""\n' + HEAT.format("Main", "") + HEAT.format("MAIN", ""),
            "",
            "two heats are called 'MAIN'",
        ),
        (
            "weekend",
            "ends_on = 2026-05-17",
            "ends_on = 2026-05-14",
            "",
            "'ends_on' lies before 'starts_on'",
        ),
        (
            "weekend",
            "ends_on = 2026-05-17",
            "ends_on = 2027-05-17",
            "",
            "a weekend longer than a month is surely a slip in a date",
        ),
    ],
)
def test_a_card_that_cannot_be_used_is_told_by_key_and_reason(
    folder: Path, card: str, old: str, new: str, key: str, reason: str
) -> None:
    path = folder / f"{card}.toml"
    text = path.read_text(encoding="utf-8")
    assert text.count(old) >= 1
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    try:
        assert told(folder) == [(f"{card}.toml", key, reason)]
    finally:
        path.write_text(text, encoding="utf-8")


WHEN = "2026-05-15T08:00:00Z"


@pytest.mark.parametrize(
    ("record", "key", "reason"),
    [
        (
            'kind = "note"\ntext = "x"\nhappened_at = 1969-12-31T23:59:59Z',
            "happened_at",
            "must lie between the years 1970 and 2200",
        ),
        (
            'kind = "fit"\nplace = "height shims"\npart = "S1"',
            "",
            "shims are listed in 'shims_mm', not named as a part",
        ),
        (
            'kind = "fit"\nplace = "spring"',
            "",
            "a fit at 'spring' names its 'part' and lists no shims",
        ),
        (
            'kind = "fit"\nplace = "spring"\npart = "S1"\nshims_mm = [0.1]',
            "",
            "a fit at 'spring' names its 'part' and lists no shims",
        ),
        ('kind = "schedule"\nchange = "delay"\nheat = "Q1"', "", "'delay' needs 'minutes'"),
        ('kind = "schedule"\nchange = "add"\nheat = "Q1"', "", "'add' needs 'minutes'"),
        ('kind = "schedule"\nchange = "move"\nheat = "Q1"', "", "'move' needs 'starts_at'"),
        (
            'kind = "schedule"\nchange = "add"\nheat = "Q1"\nminutes = 8',
            "",
            "'add' needs 'starts_at'",
        ),
        (
            f'kind = "schedule"\nchange = "add"\nheat = "Q1"\nminutes = 8\nstarts_at = {WHEN}',
            "",
            "'add' needs 'heat_kind'",
        ),
        (
            'kind = "stock"\nchange = "bought"',
            "",
            "names exactly one of 'part', 'shim_mm' and 'supply'",
        ),
        (
            'kind = "stock"\nchange = "bought"\nsupply = "screw"\nshim_mm = 0.1',
            "",
            "names exactly one of 'part', 'shim_mm' and 'supply'",
        ),
        ('kind = "stock"\nchange = "bought"\npart = "S9"', "", "a part needs its 'place'"),
        (
            'kind = "clock shift"\nof_laptop = "a"\nfirst_sequence = 5\nlast_sequence = 4\n'
            "minutes = -60",
            "",
            "'last_sequence' lies before 'first_sequence'",
        ),
        (
            'kind = "check"\n[[readings]]\nquantity = "recess"\nvalues_mm = [1.3]\n'
            "low_mm = 1.2\nhigh_mm = 1.2",
            "readings[1]",
            "no value could be good between 1.2 and 1.2 mm",
        ),
    ],
)
def test_a_record_that_cannot_be_is_left_out_and_told(
    folder: Path, record: str, key: str, reason: str
) -> None:
    common = f'laptop = "a"\nsequence = 1\nrecorded_at = {WHEN}\n'
    if "happened_at" not in record:
        common += f"happened_at = {WHEN}\n"
    path = folder / "log" / "20260515T080000Z-x-a-zzzz.toml"
    path.write_text(common + record + "\n", encoding="utf-8")
    try:
        opened = read_folder(folder, "tent1")
    finally:
        path.unlink()
    assert [(p.file, p.key, p.reason) for p in opened.problems] == [
        (f"log/{path.name}", key, reason)
    ]
    assert opened.records == ()
    assert opened.weekend is not None, "the rest of the weekend stays in use"


@pytest.mark.parametrize("year", [1970, 2200])
def test_the_years_a_record_may_lie_in_are_both_let_in(year: int) -> None:
    moment = datetime(year, 6, 1, tzinfo=UTC)
    assert NoteRecord(happened_at=moment, text="x").happened_at == moment


PART = {
    "label": "Bell",
    "length": {"value": "20 mm", "from": "measured"},
    "expansion": {"value": "0.0000123 1/K", "from": "maker"},
}


@pytest.mark.parametrize("rise", ["60 degC", "60 celsius", "60 degF", "60 °F", "60 °C"])
def test_a_rise_in_degrees_of_any_spelling_is_refused(rise: str) -> None:
    """60 celsius, read as a temperature, is a rise of 333 K: five times the one that was meant."""
    with pytest.raises(ValidationError, match="a rise of temperature is written in kelvin"):
        HotPart.model_validate(PART | {"rise": {"value": rise, "from": "measured"}})


@pytest.mark.parametrize(
    ("rise", "kelvin"), [("60 K", 60.0), ("60 kelvin", 60.0), (60, 60.0), ("0,06 kK", 60.0)]
)
def test_a_rise_in_kelvin_is_taken_as_it_is(rise: object, kelvin: float) -> None:
    part = HotPart.model_validate(PART | {"rise": {"value": rise, "from": "measured"}})
    assert part.rise.si == pytest.approx(kelvin)


def handling(folder: Path, temperature: str) -> list[Figure]:
    path = folder / "clutch.toml"
    text = path.read_text(encoding="utf-8")
    line = 'full_cure = { value = "1440 min", from = "from memory" }\n'
    minutes = '{ value = "40 min", from = "maker" }'
    point = f"{{ temperature = {temperature}, handling = {minutes} }}"
    assert line in text
    path.write_text(text.replace(line, f"{line}by_temperature = [{point}]\n"), encoding="utf-8")
    try:
        opened = read_folder(folder, "tent1")
    finally:
        path.write_text(text, encoding="utf-8")
    assert opened.problems == ()
    assert opened.weekend is not None
    return [p.temperature for p in opened.weekend.card().thread_lock.by_temperature]


@pytest.mark.parametrize(
    ("u", "kelvin"), [('"2 K"', 2.0), ('"2 degC"', 2.0), ("2", 2.0), ('"3.6 degF"', 2.0)]
)
def test_the_uncertainty_of_a_temperature_is_a_difference(
    folder: Path, u: str, kelvin: float
) -> None:
    """2 K is 2 degC wide; taken as a temperature it would be -271.15 degC."""
    (found,) = handling(folder, f'{{ value = "10 degC", u = {u}, from = "maker" }}')
    assert found.si == pytest.approx(283.15)
    assert found.u_si == pytest.approx(kelvin)


def test_a_figure_without_uncertainty_has_none(folder: Path) -> None:
    (found,) = handling(folder, '{ value = "50 degF", from = "maker" }')
    assert found.value == pytest.approx(10.0)
    assert found.u_si is None


@pytest.mark.parametrize(
    "written",
    [
        {"value": "1.6 mm", "from": "measured", "u": "0.006 mm", "note": "three places"},
        {"value": "1.6 mm", "from": "maker"},
    ],
)
def test_a_figure_is_written_as_it_is_read(written: dict[str, str]) -> None:
    part = HotPart.model_validate(
        PART | {"length": written, "rise": {"value": 80, "from": "maker"}}
    )
    assert part.model_dump(mode="json")["length"] == written
    assert HotPart.model_validate(part.model_dump()) == part
    assert HotPart(**{name: getattr(part, name) for name in HotPart.model_fields}) == part
