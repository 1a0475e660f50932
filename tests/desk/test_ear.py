"""What is heard in a recording, against the model and as records."""

from __future__ import annotations

import shutil
from dataclasses import replace
from datetime import UTC, datetime
from math import hypot, pi, sqrt
from pathlib import Path

import numpy as np
import pytest
from synthesis import engine_sound

from pitwright.desk.bite.bite import bite_desk, prepare
from pitwright.desk.clutch.gears import grip_torque_now
from pitwright.desk.ear import against, ear
from pitwright.desk.ear.bench import new_bench
from pitwright.desk.ear.picture import ear_picture, whole_or_launch
from pitwright.desk.ear.words import hearing_notes, message_line, take_lines, take_rows
from pitwright.mechanics.clutch import take_up_speed
from pitwright.mechanics.lockup import lock_up_speed
from pitwright.sound.listen import Hearing, listen
from pitwright.sound.read_audio import SampleRecording, open_recording
from pitwright.sound.takeup import Launch, NoCreepError, NotStandingError, Speed
from pitwright.sound.track import Track
from pitwright.store.session import Session

DEMO = Path(__file__).parents[2] / "demo_weekend"
NOW = datetime(2026, 5, 17, 15, 0, tzinfo=UTC)
LAUNCH = DEMO / "recordings" / "launch-Q4.wav"


@pytest.fixture
def session(tmp_path):
    shutil.copytree(DEMO, tmp_path / "demo")
    with Session(tmp_path / "demo", laptop="tent1", clock=lambda: NOW) as opened:
        yield opened


@pytest.fixture(scope="module")
def demo_hearing():
    return listen(open_recording(LAUNCH), place="abeam")


def speed(rpm, u=100.0, start=1.0, kind="plateau", movement=0.0, stood=0.2, sure=0.99):
    parts = (("scatter of the trace", sqrt(u * u - movement**2)), ("movement of the car", movement))
    return Speed(kind, rpm, u, parts, start, start + stood, sure, False)


def track(rpm=12_000.0, seconds=4.0, slope=0.0):
    time = np.arange(0, seconds, 0.006)
    ones = np.ones(len(time))
    none = np.zeros(len(time), dtype=bool)
    return Track(time, rpm + slope * time, 0.95 * ones, none, -20 * ones, -40 * ones, 0.04, 0.006)


def hearing(*speeds, the_track=None, every_second=0.0):
    launches = tuple(
        Launch(k + 0.5, k + 2.0, 6000.0, 32_000.0, s, "" if s else "no plateau long enough")
        for k, s in enumerate(speeds)
    )
    measured = [s for s in speeds if s is not None]
    outcome = "measured" if measured else ("no plateau" if speeds else "no launch")
    shown = track() if the_track is None else the_track
    return Hearing(outcome, "in words", 4.0, shown, (), launches, None, (), every_second, ())


# The demo's recording


def test_the_demo_launch_is_heard_where_the_model_has_it(session, demo_hearing):
    """Known truth: the recording is synthesised from the launch model of Q4."""
    (take,) = ear.take_ups(demo_hearing)
    prepared = prepare(session.weekend, like="Q4")
    clutch = prepared.scales.applied_to(prepared.like.clutch)
    carried = grip_torque_now(session.weekend, prepared.card)
    model = take_up_speed(clutch, carried) * 30 / pi
    assert abs(take.speed.rpm - model) <= take.speed.expanded_rpm < 100
    expected = against.expected(session.weekend, "Q4")
    assert expected.held_rpm == pytest.approx(model)
    assert expected.plateau_rpm == pytest.approx(lock_up_speed(clutch, prepared.engine) * 30 / pi)
    compared = against.compare(take, expected)
    assert compared.held
    assert compared.in_u < 0.5


def test_the_demo_recording_is_what_its_command_makes(session):
    """The recording stands for the demo as it is: one made now has the same trace."""
    from demo.make_recording import launch_sound

    made = launch_sound(DEMO, "Q4")
    there = LAUNCH.read_bytes()
    assert len(made) == len(there) < 400_000
    samples = [np.frombuffer(b[44:], dtype="<i2").astype(int) for b in (made, there)]
    # another processor may round a sample differently
    assert np.abs(samples[0] - samples[1]).max() <= 2


# Records


def test_a_take_up_is_kept_as_a_plateau_and_never_as_a_bite(session, demo_hearing):
    (take,) = ear.take_ups(demo_hearing)
    draft = ear.ear_draft(take, now=NOW, clutch="A", heat="Q4", file="launch-Q4.wav")
    assert (draft.how, draft.source, draft.heat) == ("plateau", "recording", "Q4")
    assert draft.rpm == pytest.approx(take.speed.rpm, abs=0.05)
    assert draft.u_rpm == pytest.approx(take.speed.u_rpm, abs=0.05)
    assert draft.note == "launch-Q4.wav; Launch 1 at 0.98 s"


def without_observations(session):
    for path in (session.folder / "log").glob("*bite-observation*.toml"):
        path.unlink()
    assert session.reload()


def test_a_kept_plateau_alone_moves_the_take_up_scale_and_leaves_the_bite(session):
    without_observations(session)
    before = bite_desk(prepare(session.weekend, like="Q4"))
    (take,) = ear.take_ups(hearing(speed(18_000.0)))
    session.append(ear.ear_draft(take, now=NOW, clutch="A", heat="Q4"))
    prepared = prepare(session.weekend, like="Q4")
    after = bite_desk(prepared)
    assert not prepared.scales.any_bite_known
    assert prepared.scales.lock_up_known(prepared.like.clutch)
    assert after.now.bite_rpm == pytest.approx(before.now.bite_rpm)
    assert after.like.lock_up_rpm == pytest.approx(18_000.0, abs=1)
    assert not after.calibrated
    assert after.lock_up_calibrated
    told = "\n".join(take_lines(take, against.expected(session.weekend, "Q4")))
    assert "not a bite" in told
    assert "spring's side stays as the card has it (scale 1)" in told


def test_a_kept_creep_moves_the_bite(session):
    without_observations(session)
    take = ear.creep_take(hearing(the_track=track(12_900.0)), 2.0)
    draft = ear.ear_draft(take, now=NOW, clutch="A", heat="Q4")
    assert draft.how == "creep"
    session.append(draft)
    after = bite_desk(prepare(session.weekend, like="Q4"))
    assert after.calibrated
    assert not after.lock_up_calibrated
    assert after.like.bite_rpm == pytest.approx(12_900.0, abs=5)


def test_nothing_measured_is_no_record():
    (take,) = ear.take_ups(hearing(None))
    with pytest.raises(ValueError, match="nothing was measured"):
        ear.ear_draft(take, now=NOW, clutch="A")
    assert "nothing was measured" in ear.keep_trouble(take, [take])


# Creep


def test_creep_is_read_at_the_mark_with_the_moment_in_its_u():
    steep = hearing(the_track=track(10_000.0, slope=2000.0))
    take = ear.creep_take(steep, 1.5)
    assert take.speed.rpm == pytest.approx(13_000, rel=0.002)
    parts = dict(take.speed.parts)
    # the slope is 2000 rpm a second, the mark may be 0.15 s off: rectangular
    assert parts["moment of the mark"] == pytest.approx(2000 * 0.15 / sqrt(3), rel=0.02)
    with pytest.raises(NoCreepError, match="outside"):
        ear.creep_take(steep, 99.0)


# By hand


def test_a_mark_measures_what_stands_still_and_refuses_what_does_not():
    (take,) = ear.take_ups(hearing(None))
    moved = ear.marked(take, hearing(None, the_track=track(15_000.0)), 2.0, place="abeam")
    assert moved.speed.kind == "plateau"
    assert moved.speed.rpm == pytest.approx(15_000.0)
    assert moved.by_hand == "marked at 2.00 s"
    assert moved.reason == ""
    with pytest.raises(NotStandingError, match="stands still"):
        ear.marked(take, hearing(None, the_track=track(10_000, slope=8000)), 1.0)
    deaf = replace(track(), confidence=np.zeros(len(track())))
    with pytest.raises(NotStandingError, match="no engine is heard"):
        ear.marked(take, hearing(None, the_track=deaf), 1.0)
    with pytest.raises(NotStandingError, match="outside"):
        ear.marked(take, hearing(None), 99.0)


def test_a_typed_speed_has_the_u_typed_or_that_of_a_recording():
    (take,) = ear.take_ups(hearing(speed(18_000.0)))
    assert ear.typed(take, 17_500, 400).speed.u_rpm == 200
    assert ear.typed(take, 17_500).speed.u_rpm == 300
    assert ear.typed(take, 17_500).speed.kind == "plateau"
    with pytest.raises(ValueError, match="60000"):
        ear.typed(take, 70_000)


def test_doubling_doubles_speed_and_u():
    (take,) = ear.take_ups(hearing(speed(9_400.0, 50.0)))
    twice = ear.doubled(take)
    assert (twice.speed.rpm, twice.speed.u_rpm) == (18_800.0, 100.0)
    assert sum(u * u for _n, u in twice.speed.parts) == pytest.approx(100.0**2)
    assert twice.by_hand == "doubled"
    with pytest.raises(ValueError, match="60000"):
        ear.doubled(ear.doubled(twice))
    with pytest.raises(ValueError, match="no speed"):
        ear.doubled(ear.take_ups(hearing(None))[0])


# Several launches


def test_the_median_leaves_out_what_is_discarded_and_every_creep():
    bench = new_bench("x.wav", hearing(speed(18_000), speed(18_300), speed(25_000), None))
    assert bench.current.name == "Launch 1", "unlike take-ups are never put together"
    bench = bench.looking_at(2).discarding()
    together = bench.shown[-1]
    assert (together.count, together.speed.rpm, together.spread_rpm) == (2, 18_150, 300)
    creep = ear.Take("Creep 1.00 s", "creep", speed(9_000, kind="creep"), 1.0, 1.1)
    assert bench.put(creep).shown[-1].count == 2
    back = bench.looking_at(2).discarding()
    assert back.shown[-1].count == 1, "d takes it back, and they are unlike again"


def test_the_median_has_the_u_of_the_scatter_between_launches():
    pooled = ear.pooled(ear.take_ups(hearing(speed(18_000), speed(18_200), speed(18_500))))
    values = [18_000, 18_200, 18_500]
    own = 1.2533 * float(np.std(values, ddof=1)) / sqrt(3)
    assert pooled.speed.u_rpm == pytest.approx(own, rel=1e-6)


def test_a_launch_is_not_kept_twice():
    bench = new_bench("x.wav", hearing(speed(18_000), speed(18_300)))
    assert ear.keep_trouble(bench.current, bench.takes) == ""
    all_kept = bench.keeping()
    for take in all_kept.shown:
        assert ear.keep_trouble(take, all_kept.takes) == "it is kept already"
    one_kept = bench.looking_at(0).keeping()
    assert "twice" in ear.keep_trouble(one_kept.shown[-1], one_kept.takes)
    assert ear.keep_trouble(one_kept.shown[1], one_kept.takes) == ""


def test_kept_and_pooled_rows_are_not_corrected():
    bench = new_bench("x.wav", hearing(speed(18_000), speed(18_300)))
    assert bench.in_hand(1.0).name == "By hand"
    kept = bench.looking_at(0).keeping()
    assert kept.in_hand(1.0).name == "By hand"
    assert kept.discarding() == kept


def test_where_the_car_was_changes_the_u_only():
    bench = new_bench("x.wav", hearing(speed(18_000, 100.0)))
    wide = bench.placed("anywhere", 12.0).current
    part = 18_000 * 12 / (343 - 12) / sqrt(3)
    assert wide.speed.rpm == 18_000
    assert wide.speed.u_rpm == pytest.approx(hypot(100.0, part))
    assert "Most of the ±" in "\n".join(take_lines(wide, None))
    back = bench.placed("anywhere", 12.0).placed("abeam", 12.0).current
    assert back.speed.u_rpm == pytest.approx(100.0)
    kept = bench.keeping().placed("anywhere", 12.0).current
    assert kept.speed.u_rpm == 100.0, "a record already written does not change"


# Against the model


def test_difference_has_the_u_of_both(session):
    model = against.expected(session.weekend, "q4")
    assert model.heat == "Q4"
    (take,) = ear.take_ups(hearing(speed(model.plateau_rpm + 900, 100.0, stood=0.05)))
    compared = against.compare(take, model)
    assert compared.difference_rpm == pytest.approx(900)
    assert compared.expanded_rpm == pytest.approx(2 * hypot(100.0, model.u_plateau_rpm))
    assert compared.in_u == pytest.approx(900 / compared.expanded_rpm)
    told = take_lines(take, model)
    assert any("more than chance explains" in line for line in told)
    creep = ear.creep_take(hearing(the_track=track(model.creep_rpm)), 2.0)
    assert against.compare(creep, model).difference_rpm == pytest.approx(0, abs=1)


def test_spin_half_speed_and_a_held_throttle_are_pointed_out(session):
    model = against.expected(session.weekend, "Q4")
    assert model.wheelspin
    (take,) = ear.take_ups(hearing(speed(model.plateau_rpm / 2)))
    assert "×2" in "\n".join(take_lines(take, model))
    (take,) = ear.take_ups(hearing(speed(model.held_rpm + 50, stood=0.05)))
    told = "\n".join(take_lines(take, model))
    assert "Was the throttle wide open?" in told
    assert "×2" not in told


def test_a_long_stand_is_compared_with_the_grip_and_calibrates_by_it(session):
    """The model's tyres spin at full throttle; 0.2 s of standing was held by the driver."""
    model = against.expected(session.weekend, "Q4")
    (take,) = ear.take_ups(hearing(speed(model.held_rpm + 50)))
    assert against.was_held(take, model)
    told = "\n".join(take_lines(take, model))
    assert "held at the grip" in told
    assert "20 to 60 ms only" in told
    (full,) = ear.take_ups(hearing(speed(model.plateau_rpm, stood=0.2)))
    assert "did the tyres hold after all?" in "\n".join(take_lines(full, model))
    without_observations(session)
    session.append(ear.ear_draft(take, now=NOW, clutch="A", heat="Q4", held_at_grip=True))
    after = against.expected(session.weekend, "Q4")
    assert after.held_rpm == pytest.approx(take.speed.rpm, abs=1)
    assert after.plateau_rpm > after.held_rpm + 500
    assert not against.was_held(replace(take, speed=None), after)
    creep = ear.creep_take(hearing(the_track=track(after.creep_rpm)), 2.0)
    assert not against.was_held(creep, after)


def test_takes_that_contradict_each_other_are_never_said_to_agree(session):
    model = against.expected(session.weekend, "Q4")
    takes = ear.take_ups(hearing(speed(model.held_rpm), speed(model.held_rpm + 6_000, start=3.0)))
    assert ear.apart(takes)
    assert ear.pooled(takes) is None
    for take in takes:
        told = "\n".join(take_lines(take, model, takes))
        assert "they agree" not in told
        assert "differ by more than their doubt" in told
        assert "one is none" in ear.keep_doubt(take, takes)
    lone = (replace(takes[0]), replace(takes[1], discarded=True))
    assert not ear.apart(lone)
    assert "they agree" in "\n".join(take_lines(lone[0], model, lone))
    assert ear.keep_doubt(lone[0], lone) == ""


def test_an_unsure_take_is_kept_only_after_a_question():
    (take,) = ear.take_ups(hearing(speed(18_000, sure=0.84)))
    assert ear.keep_doubt(take, (take,)) == "only 84 % sure that this is a take-up of this clutch"
    assert ear.keep_doubt(replace(take, by_hand="typed"), (take,)) == ""
    assert ear.keep_doubt(replace(take, speed=None), (take,)) == ""


def test_what_a_launch_looks_like_comes_from_the_card(session):
    model = against.expected(session.weekend, "Q4")
    shape = against.launch_shape(model)
    assert shape.stands_rpm == (model.plateau_rpm, model.held_rpm)
    assert shape.idle_rpm == pytest.approx(5_500)
    # 1.2 g of grip at the most; 3.4 kg on 0.05 m wheels
    assert model.pull_m_s_2 == pytest.approx(1.2 * 9.80665, rel=0.01)
    assert 10_000 < shape.pull_rpm_per_s < 60_000
    assert against.launch_shape(replace(model, plateau_rpm=None, held_rpm=None)) is None


def test_a_car_that_drives_away_is_put_right_and_back():
    bench = new_bench("x.wav", hearing(speed(18_000, 100.0, stood=0.4)))
    away = bench.placed("behind", 12.0, 10.0).current
    # 10 m/s2 over half of 0.4 s is 2 m/s: 18,000 * 2 / 343
    assert away.speed.rpm == pytest.approx(18_105, abs=1)
    assert away.speed.u_rpm == pytest.approx(
        hypot(100.0, 18_105 * 0.5 * 2 / 343 / sqrt(3)), rel=1e-3
    )
    assert "a car that drives away sounds lower" in "\n".join(take_lines(away, None))
    back = bench.placed("behind", 12.0, 10.0).placed("abeam", 12.0).current
    assert (back.speed.rpm, back.speed.raised) == (18_000, 0.0)


def test_a_heat_heard_before_is_pointed_out(session):
    model = against.expected(session.weekend, "Q3")
    assert "plateau" in model.seen
    (take,) = ear.take_ups(hearing(speed(19_000)))
    assert any("already" in line for line in take_lines(take, model))
    kept = replace(take, kept=True)
    assert "no comparison" in "\n".join(take_lines(kept, model))


def test_an_unknown_heat_is_refused_and_an_unknown_clutch_says_why(session):
    with pytest.raises(against.UnknownHeatError, match="Z9"):
        against.expected(session.weekend, "Z9")
    for path in (session.folder / "log").glob("*.toml"):
        path.unlink()
    session.reload()
    model = against.expected(session.weekend)
    assert "recess" in model.refused
    (take,) = ear.take_ups(hearing(speed(19_000)))
    assert "Nothing to compare with" in "\n".join(take_lines(take, model))


# Words and picture


def test_what_cannot_be_heard_is_said_plainly():
    silent = replace(hearing(), outcome="silent", message="the recording is silent")
    assert message_line(silent, None) == "Cannot hear a take-up: the recording is silent."
    none = hearing(None)
    (take,) = ear.take_ups(none)
    assert message_line(none, take).endswith("put the cursor there and press m, or type it with t.")
    assert take_rows([take]) == ["Launch 1    0.50 s  no take-up heard"]
    assert "runs rich" in hearing_notes(hearing(every_second=0.6))[0]


def test_rows_line_up():
    bench = new_bench("x.wav", hearing(speed(9_000), speed(18_300)))
    rows = take_rows(bench.shown)
    assert len({row.index("±") for row in rows}) == 1


def test_a_file_named_after_a_heat():
    assert ear.heat_guess("launch-Q4.wav", ["Q1", "Q4"]) == "Q4"
    assert ear.heat_guess("q1 start.m4a", ["Q1", "Q4"]) == "Q1"
    assert ear.heat_guess("Q14.wav", ["Q1", "Q4"]) is None


def test_the_picture_keeps_to_its_columns_and_cuts_lost_stretches():
    lost = track()
    lost.confidence[200:400] = 0.1
    picture = ear_picture(hearing(the_track=lost), 0.0, 4.0, 80, (19_000.0,))
    assert len(picture.sure) + len(picture.unsure) <= 80
    assert len(picture.sure_runs) == 2
    assert picture.low < 12 < 19 < picture.high
    fields = ("time_s", "rpm", "confidence", "every_second", "level_db", "burst_db")
    empty = replace(lost, **{name: getattr(lost, name)[:0] for name in fields})
    assert ear_picture(hearing(the_track=empty), 0.0, 4.0, 80) is None


def test_of_a_long_recording_the_launch_is_shown():
    long = replace(hearing(speed(18_000)), duration_s=900.0)
    (take,) = ear.take_ups(long)
    assert whole_or_launch(long, take, whole=False) == (0.0, 2.6)
    assert whole_or_launch(long, take, whole=True) == (0.0, 900.0)


def test_a_synthesised_creep_is_heard_and_kept_as_creep(session):
    """From sound to record: a slow ramp from 9 000 to 15 000 rpm in 6 s, marked half-way."""
    sound = 0.1 * engine_sound([0, 1, 7, 8], [9e3, 9e3, 15e3, 15e3], 22_050)
    heard = listen(SampleRecording(sound, 22_050))
    assert heard.outcome != "measured"
    take = ear.creep_take(heard, 4.0)
    assert abs(take.speed.rpm - 12_000) <= take.speed.expanded_rpm
    assert ear.ear_draft(take, now=NOW, clutch="A").how == "creep"
