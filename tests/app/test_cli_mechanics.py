"""The mechanics on the command line, by its real entry point."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest
from factory import WeekendMaker

from pitwright.cli import main
from pitwright.desk.bite.bite import Tries, bite_desk, prepare
from pitwright.desk.stock.shims import shim_desk
from pitwright.weekend.records import Conditions, Observation


@pytest.fixture
def maker(tmp_path):
    made = WeekendMaker(tmp_path / "w")
    made.fit("spring", "S1")
    made.fit("shoes", "H1")
    made.fit("height shims", shims_mm=[0.2, 0.1])
    made.fit("end play shims", shims_mm=[0.1])
    made.check(free_length=10.2, shoe_thickness=5.0, end_play=0.40)
    made.set_recess(1.35)
    made.later(10).heat("P1", "practice", conditions=Conditions(air_c=28.0, pressure_hpa=960.0))
    made.later(10).check(free_length=10.1, shoe_thickness=4.9)
    return made


def weekend_of(maker):
    with maker.session() as session:
        return session.weekend


def run(capsys, *arguments):
    status = main([str(a) for a in arguments])
    return status, capsys.readouterr()


def as_json(capsys, *arguments):
    status, out = run(capsys, *arguments, "--json")
    return status, json.loads(out.out)


def test_bite_in_words_and_as_json(maker, capsys):
    status, out = run(capsys, "bite", maker.folder)
    assert status == 0
    assert "NOT CALIBRATED" in out.out
    assert "against P1" in out.out
    status, found = as_json(capsys, "bite", maker.folder)
    desk = bite_desk(prepare(weekend_of(maker)), Tries())
    assert status == 0
    assert found["now"]["bite_rpm"] == pytest.approx(desk.now.bite_rpm)
    assert found["calibrated"] is False
    assert found["curves"][0]["points"][0][1] == pytest.approx(0, abs=1e-9)


def test_bite_with_tries(maker, capsys):
    _, found = as_json(
        capsys, "bite", maker.folder, "--recess", "1.45", "--free-length", "10,05", "--worn", "0.2",
        "--hot", "--like", "p1", "--air", "30", "--pressure", "950",
    )  # fmt: skip
    assert found["tried"]["recess_mm"] == pytest.approx(1.45)
    assert found["tried"]["free_length_mm"] == pytest.approx(10.05)
    assert found["tried"]["worn_mm"] == pytest.approx(0.2)
    assert found["tries"]["hot"] is True
    assert found["air"]["torque_percent"] < 0


def test_bite_at_an_earlier_moment(maker, capsys):
    maker.later(60).set_recess(1.6)
    _, now = as_json(capsys, "bite", maker.folder)
    _, then = as_json(capsys, "bite", maker.folder, "--at", "2026-05-15T08:30")
    assert now["now"]["recess_mm"] == pytest.approx(1.6)
    assert then["now"]["recess_mm"] == pytest.approx(1.35)


def test_a_bite_that_cannot_be_is_a_finding(maker, capsys):
    status, out = run(capsys, "bite", maker.folder, "--recess", "1.9")
    assert status == 1
    assert "Cannot bite" in out.out


@pytest.mark.parametrize(
    ("arguments", "word"),
    [
        (["bite", "FOLDER", "--clutch", "Z"], "no clutch"),
        (["bite", "FOLDER", "--pressure", "950"], "--air"),
        (["air", "FOLDER", "--humidity", "50"], "--air"),
        (["bite", "FOLDER", "--at", "yesterday"], "not a time"),
        (["observe", "FOLDER", "creep", "12000", "--heat", "Q9"], "no heat"),
        (["observe", "FOLDER", "creep", "12000", "--note", "a\x1bb"], "note"),
    ],
)
def test_wrong_calls_are_said_in_a_line(maker, capsys, arguments, word):
    status, out = run(capsys, *(maker.folder if a == "FOLDER" else a for a in arguments))
    assert status == 2
    assert word in out.err
    assert "Traceback" not in out.err


@pytest.mark.parametrize(
    "arguments",
    [
        ["bite", "FOLDER", "--recess", "deep"],
        ["bite", "FOLDER", "--recess", "nan"],
        ["bite", "FOLDER", "--air", "90"],
        ["air", "FOLDER", "--air", "20", "--humidity", "0.5"],
        ["shims", "FOLDER", "--keep", "0"],
        ["observe", "FOLDER", "creep", "90"],
        ["gears", "FOLDER", "--pinion", "0"],
        ["gears", "FOLDER", "--spur", "46,5"],
        ["observe", "FOLDER", "squeal", "12000"],
    ],
)
def test_arguments_that_cannot_be_read_are_refused(maker, capsys, arguments):
    with pytest.raises(SystemExit) as caught:
        main([str(maker.folder) if a == "FOLDER" else a for a in arguments])
    assert caught.value.code == 2


def test_launch(maker, capsys):
    status, out = run(capsys, "launch", maker.folder)
    assert status == 0
    assert "no heat lost meanwhile" in out.out
    _, found = as_json(capsys, "launch", maker.folder, "--from", "24000")
    assert found["full"]["dips"] is True
    assert found["held"]["slip_energy_j"] < found["full"]["slip_energy_j"]


def test_shims(maker, capsys):
    status, out = run(capsys, "shims", maker.folder)
    assert status == 0
    assert "Tin" in out.out
    assert "bearings, dirt" in out.out
    _, found = as_json(capsys, "shims", maker.folder, "--measured", "0.31", "--keep", "2")
    desk = shim_desk(weekend_of(maker), measured_mm=0.31, keep=2)
    assert len(found["stacks"]) == 2
    assert found["stacks"][0]["end_play_mm"] == pytest.approx(desk.stacks[0].end_play_mm)
    assert found["measured"]["bare_mm"] == pytest.approx(0.71)


def test_shims_without_a_reading_is_a_finding(tmp_path, capsys):
    maker = WeekendMaker(tmp_path / "bare")
    status, out = run(capsys, "shims", maker.folder)
    assert status == 1
    assert "measure" in out.out


def test_gears(maker, capsys):
    status, out = run(capsys, "gears", maker.folder, "--pinion", "18")
    assert status == 0
    assert "18/46" in out.out
    _, found = as_json(capsys, "gears", maker.folder)
    assert found["pairs"][0]["final_drive"] == pytest.approx(46 / 17 * 2.7)
    assert {s["label"] for s in found["speeds"]} == {"At the bite", "At lock-up"}


def test_air_of_the_last_heat_or_given(maker, capsys):
    status, out = run(capsys, "air", maker.folder)
    assert status == 0
    assert "28 °C, 960 hPa" in out.out
    assert "humidity not read" in out.out
    _, found = as_json(
        capsys, "air", maker.folder, "--air", "20", "--pressure", "1013.25", "--humidity", "50"
    )
    # CIPM-2007, from the paper's constants: 1.199314 kg/m3.
    assert found["air"]["density"] == pytest.approx(1.199314, abs=1e-6)


def test_air_not_noted_yet(tmp_path, capsys):
    status, out = run(capsys, "air", WeekendMaker(tmp_path / "bare").folder)
    assert status == 2
    assert "--air" in out.err


def test_torques_stand_under_the_caution(maker, capsys):
    status, out = run(capsys, "torques", maker.folder)
    assert status == 0
    assert "maker's torque figure rules" in out.out


def test_spring_takes_squeezes_in_other_units(maker, capsys):
    status, found = as_json(
        capsys, "spring", maker.folder, "--squeeze", "9,8=12", "0.37 in=2.5 kgf"
    )
    assert status == 0
    # 12 N at 9.8 mm and 24.516625 N at 9.398 mm
    assert found["squeezed"]["rate_n_mm"] == pytest.approx(12.516625 / 0.402)
    status, out = run(capsys, "spring", maker.folder, "--squeeze", "9.8=12")
    assert status == 1
    assert "at least two squeezes" in out.out
    with pytest.raises(SystemExit):
        run(capsys, "spring", maker.folder, "--squeeze", "9.8")
    assert "a length, '=' and a force" in capsys.readouterr().err


def test_observe_records_and_calibrates(maker, capsys):
    status, out = run(
        capsys, "observe", maker.folder, "creep", "12250", "--plus-minus", "200", "--heat", "p1"
    )
    assert status == 0
    assert "Calibrated: 1 creep" in out.out
    (record,) = [r for r in weekend_of(maker).log.records if isinstance(r, Observation)]
    assert (record.rpm, record.u_rpm, record.heat) == (12250, 100, "P1")
    _, found = as_json(capsys, "bite", maker.folder)
    assert found["calibrated"] is True
    assert found["like"]["bite_rpm"] == pytest.approx(12250)


def test_a_speed_with_a_digit_too_few_is_not_kept_without_a_word(maker, capsys):
    """One such speed made the bite '2 620 ± 15670 rpm' on every screen."""
    assert run(capsys, "observe", maker.folder, "creep", "12 690")[0] == 0
    status, out = run(capsys, "observe", maker.folder, "creep", "1269")
    assert status == 2
    assert "1 270 rpm is far from the last creep seen, 12 690 rpm: a digit too few" in out.err
    kept = [r for r in weekend_of(maker).log.records if isinstance(r, Observation)]
    assert [r.rpm for r in kept] == [12690]
    assert run(capsys, "observe", maker.folder, "plateau", "19000")[0] == 0
    assert run(capsys, "observe", maker.folder, "creep", "8000", "--accept-slip")[0] == 0
    assert len([r for r in weekend_of(maker).log.records if isinstance(r, Observation)]) == 3


def test_the_nut_stays_with_its_own_command(maker, capsys):
    status, found = as_json(capsys, "nut", maker.folder, "--hold", "bite", "--like", "P1")
    assert status == 0
    assert found["direction"] in ("in", "out", "leave it")


def test_a_script_gets_json_from_the_real_program(maker):
    done = subprocess.run(
        [sys.executable, "-c", "from pitwright.cli import main; raise SystemExit(main())",
         "bite", str(maker.folder), "--json"],
        capture_output=True, text=True, check=True, timeout=60,
    )  # fmt: skip
    assert json.loads(done.stdout)["like"]["label"] == "P1"
    assert done.stderr == ""


TRACK = """
[[track.corner]]
label = "Hairpin"
a_lap = 3
speed = { value = "27 km/h", from = "measured", u = "2 km/h" }
"""


def test_warmth_in_words_and_as_json(maker, capsys):
    status, out = run(capsys, "warmth", maker.folder)
    assert status == 1
    assert "fill in [[track.corner]]" in out.out
    with (maker.folder / "weekend.toml").open("a") as card:
        card.write("\n[track]\nlap = { value = '20 s', from = 'measured' }\n" + TRACK)
    status, out = run(capsys, "warmth", maker.folder, "--minute", "12", "--air", "30")
    assert status == 0
    assert "3 x " in out.out
    assert "Minute 12" in out.out
    assert "by hand" in out.out
    assert all(len(line) < 80 for line in out.out.splitlines())
    status, found = as_json(capsys, "warmth", maker.folder, "--air", "30")
    assert status == 0
    assert found["air_c"] == 30
    assert found["corners"][0]["a_lap"] == 3


def test_a_gun_reading_is_kept_with_its_moment(maker, capsys):
    status, _ = run(capsys, "warmth", maker.folder, "--read", "96,5", "--heat", "p1", "--ago", "2")
    assert status == 1  # kept, though no corner is known yet to say more
    (kept,) = (r for r in weekend_of(maker).log.records if r.kind == "bell temperature")
    assert (kept.bell_c, kept.heat) == (96.5, "P1")
    assert (kept.recorded_at - kept.happened_at).total_seconds() == pytest.approx(120, abs=5)
    assert run(capsys, "warmth", maker.folder, "--read", "96", "--heat", "P9")[0] == 2
    assert run(capsys, "warmth", maker.folder, "--heat", "P1")[0] == 2
    with pytest.raises(SystemExit):
        run(capsys, "warmth", maker.folder, "--read", "960")
    capsys.readouterr()


def test_gears_say_which_pairs_share_a_place(maker, capsys):
    status, out = run(capsys, "gears", maker.folder, "--pinion", "18")
    assert status == 0
    assert "NO: centres differ by 0.50 mm" in out.out
    assert "18/45 in first" in out.out
    _, found = as_json(
        capsys, "gears", maker.folder, "--pinion", "18", "--second-pinion", "22", "--tyre", "97"
    )
    assert found["agree"] is True
    assert found["tyre_mm"] == 97
    status, out = run(capsys, "gears", maker.folder, "--second-spur", "43")
    assert "21/43" in out.out
