"""The export, read back with other tools: the csv module, sqlite3, pyarrow."""

from __future__ import annotations

import csv
import io
import sqlite3
import sys
from datetime import UTC, datetime

import pyarrow.parquet as pq
import pytest
from factory import WeekendMaker, local, race_weekend

from pitwright.desk.tables.tables import tables
from pitwright.store import export as export_module
from pitwright.store.export import MissingLibraryError, csv_text, export
from pitwright.store.files import StoreError, replace_file
from pitwright.weekend.records import RECORD_KINDS, Check, HeatRun, Reading
from pitwright.weekend.table import DataColumn, DataTable


@pytest.fixture
def maker(tmp_path):
    made = WeekendMaker(tmp_path / "w")
    made.fit("spring", "S1")
    made.fit("shoes", "H1")
    made.fit("end play shims", shims_mm=[0.1, 0.05])
    made.set_recess(1.3)
    return made


def exported(maker, target, **more):
    with maker.session() as session:
        found = tables(session.weekend, session.records)
        return export(found, target, weekend=maker.folder, **more)


def rows_of(target, name):
    with (target / f"{name}.csv").open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_every_kind_of_record_has_its_table(maker):
    named = {
        "check": "checks", "setting": "settings", "fit": "fits", "build": "builds",
        "heat": "heats", "note": "notes", "bite observation": "bite_observations",
        "bell temperature": "bell_temperatures",
        "nut calibration": "nut_calibrations", "zero check": "zero_checks",
        "schedule": "schedule_changes", "stock": "stock_changes", "carry over": "carry_overs",
        "clock shift": "clock_shifts", "correction": "corrections",
    }  # fmt: skip
    assert set(named) == set(RECORD_KINDS)
    with maker.session() as session:
        found = {t.name: t for t in tables(session.weekend, session.records)}
    assert set(named.values()) <= set(found)
    for table in found.values():
        names = [c.name for c in table.columns]
        assert names[0] == "event"
        assert len(names) == len(set(names))
        assert all(len(row) == len(names) for row in table.rows)


def test_no_field_of_a_record_is_left_out(maker):
    # Each field stands in a column of its name, of its name with the unit, or in a table.
    elsewhere = {
        "format", "kind", "id", "conditions", "readings", "values_mm", "shims_mm", "results",
        "steps", "pairs", "parts", "replacement", "pinion_teeth", "spur_teeth",
    }  # fmt: skip
    renamed = {
        "happened_at": "happened_at_utc", "recorded_at": "recorded_at_utc",
        "finished_at": "finished_at_utc", "starts_at": "starts_at_utc",
        "planned_minutes": "planned_min", "run_minutes": "run_min",
        "warm_up_minutes": "warm_up_min", "bite_rating": "bite_of_5",
        "bottom_end_rating": "bottom_end_of_5", "consistency_rating": "consistency_of_5",
        "rpm": "speed_rpm", "event": "from_event",
    }  # fmt: skip
    own = {"clock shift": {"minutes": "shift_min"}, "schedule": {"minutes": "shift_min"}}
    with maker.session() as session:
        found = {t.name: {c.name for c in t.columns} for t in tables(session.weekend)}
    names = {
        "heat": "heats", "bite observation": "bite_observations", "schedule": "schedule_changes",
        "stock": "stock_changes", "carry over": "carry_overs",
        "nut calibration": "nut_calibrations",
    }  # fmt: skip
    for kind, model in RECORD_KINDS.items():
        columns = found[names.get(kind, kind.replace(" ", "_") + "s")]
        for field in set(model.model_fields) - elsewhere:
            assert own.get(kind, {}).get(field, renamed.get(field, field)) in columns, (kind, field)


def test_the_three_formats_hold_the_same(tmp_path):
    maker = race_weekend(tmp_path / "w", 12)
    target = tmp_path / "out"
    done = exported(maker, target, parquet=True)
    with maker.session() as session:
        found = tables(session.weekend, session.records)
    assert done.tables == len(found)
    assert len(done.files) == 2 * len(found) + 1
    with sqlite3.connect(target / "weekend.sqlite") as connection:
        for table in found:
            columns = [c.name for c in table.columns]
            parquet = pq.read_table(target / f"{table.name}.parquet")
            assert parquet.column_names == columns
            assert [tuple(r.values()) for r in parquet.to_pylist()] == list(table.rows)
            stored = connection.execute(f'SELECT * FROM "{table.name}"').fetchall()
            plain = [
                tuple(v.isoformat() if isinstance(v, datetime) else v for v in row)
                for row in table.rows
            ]
            assert stored == plain
            read = rows_of(target, table.name)
            assert len(read) == len(table.rows)
            for got, row in zip(read, table.rows, strict=True):
                for name, value in zip(columns, row, strict=True):
                    if isinstance(value, float) and not isinstance(value, bool):
                        assert float(got[name]) == value
                    elif value is None:
                        assert got[name] == ""
    connection.close()


def test_heats_carry_the_state_they_started_with(maker, tmp_path):
    maker.check(free_length=10.18, shoe_thickness=5.0)
    maker.go(0, "10:00").heat("P1", "practice", 8, [20.0, 19.5, 31.0], warm_up_minutes=1.5)
    maker.set_recess(1.4)
    maker.go(0, "12:00").heat("P2", "practice", None)
    exported(maker, tmp_path / "out")
    first, second = rows_of(tmp_path / "out", "heats")
    assert (first["heat"], first["run_min"], first["warm_up_min"]) == ("P1", "8.0", "1.5")
    assert (first["start_recess_mm"], second["start_recess_mm"]) == ("1.3", "1.4")
    assert (first["start_spring"], first["start_spring_run_min"]) == ("S1", "0.0")
    assert second["start_spring_run_min"] == "9.5"
    assert second["run_min"] == ""  # not timed is no zero
    assert float(first["start_end_play_shims_mm"]) == 0.15
    assert 9000 < float(first["start_bite_model_rpm"]) < 15000
    assert first["start_bite_calibrated"] == "false"
    laps = rows_of(tmp_path / "out", "laps")
    assert [(row["lap"], row["lap_s"]) for row in laps] == [
        ("1", "20.0"), ("2", "19.5"), ("3", "31.0"),
    ]  # fmt: skip
    assert laps[2]["set_aside"] == "stop"
    assert {row["heat_record"] for row in laps} == {first["record"]}
    shims = rows_of(tmp_path / "out", "fitted_shims")
    assert [row["thickness_mm"] for row in shims] == ["0.1", "0.05"]


def test_readings_and_their_repeats_join(maker, tmp_path):
    read = Reading(quantity="recess", values_mm=[1.30, 1.32], verdict="good", typed="1.30 1.32")
    check = maker.add(Check(happened_at=maker.at, readings=[read], note="both sides"))
    exported(maker, tmp_path / "out")
    with sqlite3.connect(tmp_path / "out" / "weekend.sqlite") as connection:
        found = connection.execute(
            "SELECT r.value_mm, avg(x.value_mm), count(*), c.note FROM readings r"
            " JOIN reading_repeats x ON x.record = r.record AND x.reading = r.reading"
            " JOIN checks c ON c.record = r.record WHERE r.record = ? GROUP BY r.record, r.reading",
            [check.id],
        ).fetchall()
    connection.close()
    assert found == [(1.31, pytest.approx(1.31), 2, "both sides")]


def test_corrections_stand_as_corrected_and_say_what_they_replaced(maker, tmp_path):
    run = maker.heat("P1", "practice", 8)
    done = maker.correct(run, "late start", run_minutes=6.0)
    exported(maker, tmp_path / "out")
    (heat,) = rows_of(tmp_path / "out", "heats")
    (correction,) = rows_of(tmp_path / "out", "corrections")
    assert (heat["record"], heat["run_min"]) == (done.id, "6.0")
    assert (correction["replaces"], correction["reason"]) == (run.id, "late start")
    assert (correction["taken_back"], correction["new_kind"]) == ("false", "heat")


# Formulas in CSV

DANGEROUS = [
    "=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "'=1", "'plain", "＝1",
    '=HYPERLINK("x","y")',
]  # fmt: skip


@pytest.mark.parametrize("said", DANGEROUS)
def test_a_text_is_never_a_formula_and_can_be_had_back(said):
    table = DataTable("t", (DataColumn("a"), DataColumn("b", "real")), ((said, -1.5),))
    (_, row) = csv.reader(io.StringIO(csv_text(table), newline=""))
    assert row[0][0] == "'"
    assert row[0][1:] == said
    assert row[1] == "-1.5"  # a number is a number


def test_plain_texts_and_line_breaks_are_left_alone():
    table = DataTable("t", (DataColumn("a"),), (('two\nlines, "quoted"',), ("a=b",), ("",)))
    assert list(csv.reader(io.StringIO(csv_text(table), newline=""))) == [
        ["a"], ['two\nlines, "quoted"'], ["a=b"], [""],
    ]  # fmt: skip


def test_only_csv_is_guarded(maker, tmp_path):
    maker.note("=cmd|' /C calc'!A0")
    exported(maker, tmp_path / "out", parquet=True)
    assert rows_of(tmp_path / "out", "notes")[0]["text"] == "'=cmd|' /C calc'!A0"
    assert pq.read_table(tmp_path / "out" / "notes.parquet")["text"].to_pylist() == [
        "=cmd|' /C calc'!A0"
    ]


# Where it may go


def test_it_replaces_an_earlier_export_and_leaves_other_files(maker, tmp_path):
    target = tmp_path / "out"
    exported(maker, target)
    (target / "mine.txt").write_text("keep")
    maker.heat("P1", "practice", 8)
    exported(maker, target)
    assert len(rows_of(target, "heats")) == 1
    assert (target / "mine.txt").read_text() == "keep"
    assert not [p for p in target.iterdir() if p.name.endswith(".unfinished")]


def whole(folder):
    return {p.name: p.read_bytes() for p in folder.iterdir()}


@pytest.mark.parametrize("name", ["heats.csv", "weekend.sqlite", "pitwright-export.toml"])
def test_it_never_overwrites_a_file_it_did_not_make(maker, tmp_path, name):
    target = tmp_path / "out"
    target.mkdir()
    (target / name).write_text("mine")
    with pytest.raises(StoreError, match=f"{name} is not from an export"):
        exported(maker, target)
    assert whole(target) == {name: b"mine"}
    # Nor one that it made and somebody has changed since, nor what stands where one did.
    (target / name).unlink()
    exported(maker, target)
    maker.heat("P1", "practice", 8)
    for spoil in (lambda p: p.write_bytes(b"changed"), lambda p: p.symlink_to(tmp_path / "mine")):
        (target / name).unlink()
        spoil(target / name)
        before = [p for p in target.iterdir() if p.name != name]
        before = {p: p.read_bytes() for p in before}
        with pytest.raises(StoreError, match="it stays, and nothing was written"):
            exported(maker, target)
        assert {p: p.read_bytes() for p in before} == before
        assert not (tmp_path / "mine").exists()


def test_an_export_cut_short_anywhere_can_be_made_again(maker, tmp_path, monkeypatch):
    target = tmp_path / "out"
    exported(maker, target)
    maker.heat("P1", "practice", 8)
    for number in range(6):
        left = iter(range(number))

        def until(path, data, left=left):
            if next(left, None) is None:
                raise StoreError(28, "no space")
            replace_file(path, data)

        monkeypatch.setattr(export_module, "replace_file", until)
        with pytest.raises(StoreError, match="no space"):
            exported(maker, target)
    monkeypatch.undo()
    exported(maker, target)
    assert len(rows_of(target, "heats")) == 1


@pytest.mark.parametrize("place", ["", "log", "laps", "log/deeper", "open", "recordings"])
def test_never_among_the_weekend_s_own_files(maker, place):
    with pytest.raises(StoreError, match="own files"):
        exported(maker, maker.folder / place)
    assert not [*maker.folder.rglob("*.csv"), *maker.folder.rglob("*.sqlite")]


def test_a_file_in_the_way_is_said(maker, tmp_path):
    (tmp_path / "out").write_text("a file")
    with pytest.raises(StoreError, match="is a file"):
        exported(maker, tmp_path / "out")


def test_parquet_without_its_library_writes_nothing(maker, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(MissingLibraryError, match=r"pitwright\[parquet\]"):
        exported(maker, tmp_path / "out", parquet=True)
    assert not (tmp_path / "out").exists()


def test_moments_are_utc(maker, tmp_path):
    maker.add(HeatRun(happened_at=local(0, "10:00"), heat="P1", heat_kind="practice"))
    exported(maker, tmp_path / "out", parquet=True)
    assert rows_of(tmp_path / "out", "heats")[0]["happened_at_utc"] == "2026-05-15T09:00:00+00:00"
    stored = pq.read_table(tmp_path / "out" / "heats.parquet")["happened_at_utc"].to_pylist()
    assert stored == [datetime(2026, 5, 15, 9, tzinfo=UTC)]
