"""What stands in for a corrected record is read and written as that record itself would be."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest
from pydantic import ValidationError

from pitwright.paths import demo_folder
from pitwright.store.reader import read_folder
from pitwright.store.toml_reader import validate
from pitwright.weekend.problems import Problem
from pitwright.weekend.records import ClockShift, Correction, NoteRecord, Record

NOW = datetime(2026, 5, 16, 9, tzinfo=UTC)
DEMO = [
    record
    for record in read_folder(demo_folder(), "tent1").records
    if not isinstance(record, Correction | ClockShift)
]


@pytest.mark.parametrize("mode", ["python", "json"])
@pytest.mark.parametrize("exclude_none", [False, True])
def test_every_record_of_the_demo_comes_back_whole(mode: str, exclude_none: bool) -> None:
    how: dict[str, Any] = {"mode": mode, "by_alias": True, "exclude_none": exclude_none}
    assert len({type(record) for record in DEMO}) > 8
    for record in DEMO:
        correction = Correction(happened_at=NOW, replaces="x", reason="slip", replacement=record)
        table = correction.model_dump(**how)
        assert table["replacement"] == record.model_dump(**how, exclude={"id"})
        again = Correction.model_validate(table)
        assert again.replacement == record.model_copy(update={"id": ""})
        assert type(again.replacement) is type(record)


def read(replacement: object) -> Correction | list[Problem]:
    table = {"kind": "correction", "happened_at": NOW, "replaces": "x", "reason": "slip"}
    return validate({**table, "replacement": replacement}, Correction, "log/c.toml")


@pytest.mark.parametrize(
    ("replacement", "key", "reason"),
    [
        (
            {"kind": "check", "happened_at": NOW, "readings": [{"quantity": "play"}]},
            "replacement.readings[1].values_mm",
            "is missing",
        ),
        (
            {"kind": "note", "happened_at": NOW, "text": "x", "abuot": "M1"},
            "replacement.abuot",
            "is not a key known here",
        ),
        (
            {"kind": "fit", "happened_at": NOW, "place": "spring", "shims_mm": [0.1]},
            "replacement",
            "a fit at 'spring' names its 'part' and lists no shims",
        ),
        ({"happened_at": NOW}, "replacement", "has no 'kind'"),
        ({"kind": 3}, "replacement", "is not of a kind that can replace another"),
        ({"kind": "clutch"}, "replacement", "is not of a kind that can replace another"),
        (
            {"kind": "correction", "happened_at": NOW, "replaces": "y", "reason": "r"},
            "replacement",
            "is not of a kind that can replace another",
        ),
        ([], "replacement", "must be a table: the record that counts instead"),
    ],
)
def test_what_does_not_fit_is_told_with_its_key(replacement: object, key: str, reason: str) -> None:
    found = read(replacement)
    assert isinstance(found, list)
    assert [(p.key, p.reason) for p in found] == [(key, reason)]


def test_a_slip_in_a_key_is_guessed_at() -> None:
    found = read({"kind": "note", "happened_at": NOW, "text": "x", "abuot": "M1"})
    assert isinstance(found, list)
    assert found[0].advice == "did you mean 'about'?"


def test_neither_a_correction_nor_a_bare_record_stands_in() -> None:
    note = NoteRecord(happened_at=NOW, text="x")
    wrong: list[Record] = [
        Correction(happened_at=NOW, replaces="x", reason="r", replacement=note),
        Record(happened_at=NOW),
    ]
    for record in wrong:
        with pytest.raises(ValidationError, match="kind"):
            Correction(happened_at=NOW, replaces="x", reason="r", replacement=record)
