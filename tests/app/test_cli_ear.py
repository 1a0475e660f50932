"""``pitwright ear`` through its real entry point."""

from __future__ import annotations

import io
import json
import shutil
import sys
import wave
from pathlib import Path

import numpy as np
import pytest
from synthesis import add_noise, engine_sound, wav_bytes

from pitwright.cli import main
from pitwright.desk.bite.words import rpm_words
from pitwright.sound.listen import listen
from pitwright.sound.read_audio import open_recording
from pitwright.store.reader import read_folder

DEMO = Path(__file__).parents[2] / "demo_weekend"
RATE = 22_050
TIMES = [0, 0.8, 0.9, 1.3, 2.3, 2.5, 2.9, 3.3]
SPEEDS = [6_000, 6_000, 18_000, 18_000, 32_000, 32_000, 6_000, 6_000]


@pytest.fixture
def folder(tmp_path):
    shutil.copytree(DEMO, tmp_path / "demo")
    return tmp_path / "demo"


@pytest.fixture
def launch(folder):
    return folder / "recordings" / "launch-Q4.wav"


@pytest.fixture(scope="module")
def demo_speed():
    """What the sound core hears in the demo's recording."""
    heard = listen(open_recording(DEMO / "recordings" / "launch-Q4.wav"), place="abeam")
    return heard.launches[0].take_up


def sound_file(path, times=TIMES, speeds=SPEEDS):
    sound = add_noise(engine_sound(times, speeds, RATE, seed=2), 15.0, seed=2)
    path.write_bytes(wav_bytes(sound, RATE))
    return path


def silent_file(path):
    with wave.open(str(path), "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(RATE)
        out.writeframes(bytes(2 * RATE))
    return path


def observations(folder):
    records = read_folder(folder, "tent1").records
    return [r for r in records if r.kind == "bite observation" and r.source == "recording"]


def run(*arguments):
    return main(["ear", *(str(a) for a in arguments)])


def test_a_file_alone_is_measured(launch, demo_speed, capsys):
    assert run(launch, "--place", "abeam") == 0
    out = capsys.readouterr().out
    assert "launch-Q4.wav: 3.8 s, car passing in front" in out
    assert "Take-up heard in 1 of 1 launch" in out
    assert rpm_words(demo_speed.rpm, demo_speed.u_rpm) in out
    assert "Model" not in out


def test_without_a_place_the_u_is_wide_and_says_why(launch, capsys):
    assert run(launch) == 0
    out = capsys.readouterr().out
    assert float(out.split("±")[1].split()[0]) > 700
    assert "say where it was" in out


def test_a_heat_is_compared_and_nothing_is_kept_unasked(folder, launch, capsys):
    before = sorted((folder / "log").iterdir())
    assert run(launch, "--folder", folder, "--heat", "q4") == 0
    out = capsys.readouterr().out
    assert "Model, Q4, held at the grip: " in out
    assert "they agree" in out
    assert "not a bite" in out
    assert sorted((folder / "log").iterdir()) == before


def test_keep_writes_one_observation(folder, launch, demo_speed, capsys):
    assert run(launch, "--folder", folder, "--heat", "Q4", "--place", "abeam", "--keep") == 0
    (kept,) = observations(folder)
    assert (kept.how, kept.heat) == ("plateau", "Q4")
    assert kept.rpm == pytest.approx(demo_speed.rpm, abs=0.05)
    assert kept.u_rpm == pytest.approx(demo_speed.u_rpm, abs=0.05)
    assert f"Kept as {kept.id}" in capsys.readouterr().out


def test_several_launches_are_kept_as_their_median(folder, tmp_path, capsys):
    gap = TIMES[-1] + 0.01
    times, speeds = [], []
    for k, level in enumerate((17_800, 18_000, 18_400)):
        times += [k * gap + t for t in TIMES]
        speeds += [level if s == 18_000 else s for s in SPEEDS]
    path = sound_file(tmp_path / "three.wav", times, speeds)
    assert run(path, "--folder", folder, "--place", "standstill", "--keep", "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert [round(x["rpm"], -2) for x in told["launches"]] == [17_800, 18_000, 18_400]
    assert told["answer"]["count"] == 3
    (kept,) = observations(folder)
    assert kept.rpm == pytest.approx(18_000, rel=0.003)
    assert kept.note.startswith("three.wav; median of 3 launches")
    assert kept.heat is None
    assert told["record"] == kept.id


def test_a_speed_far_from_the_last_of_its_kind_is_kept_only_when_accepted(
    folder, launch, tmp_path, capsys
):
    slow = [9_000 if s == 18_000 else s for s in SPEEDS]
    low = sound_file(tmp_path / "low.wav", TIMES, slow)
    keep = ("--folder", folder, "--place", "abeam", "--keep")
    assert run(launch, *keep) == 0
    capsys.readouterr()
    assert run(low, *keep) == 2
    said = capsys.readouterr()
    assert "Take-up heard in 1 of 1 launch" in said.out
    assert "is far from the last take-up seen" in said.err
    assert "--accept-slip" in said.err
    assert run(low, *keep, "--json") == 2
    told = json.loads(capsys.readouterr().out)
    assert told["record"] is None
    assert "skips firings reads half" in told["doubt"]
    assert len(observations(folder)) == 1
    assert run(low, *keep, "--accept-slip", "--json") == 0
    assert json.loads(capsys.readouterr().out)["doubt"] is None
    assert len(observations(folder)) == 2


def test_creep_at_a_mark(folder, tmp_path, capsys):
    path = sound_file(tmp_path / "creep.wav", [0, 1, 6, 7], [9e3, 9e3, 14e3, 14e3])
    assert run(path, "--creep-at", "4", "--folder", folder, "--heat", "Q4", "--keep") == 0
    (kept,) = observations(folder)
    assert kept.how == "creep"
    assert kept.rpm == pytest.approx(12_000, rel=0.01)
    assert "Model, Q4, creep:" in capsys.readouterr().out
    assert run(path, "--creep-at", "60", "--folder", folder, "--keep") == 1
    said = capsys.readouterr()
    assert "outside the recording" in said.out
    assert "Nothing kept" in said.err
    assert len(observations(folder)) == 1


def test_none_heard_is_a_finding_and_keeps_nothing(folder, tmp_path, capsys):
    path = silent_file(tmp_path / "silent.wav")
    assert run(path, "--folder", folder, "--keep") == 1
    said = capsys.readouterr()
    assert "The recording is silent" in said.out
    assert "Nothing kept" in said.err
    steady = sound_file(tmp_path / "idle.wav", [0, 3], [6_000, 6_000])
    assert run(steady) == 1
    assert "no launch" in capsys.readouterr().out
    assert observations(folder) == []


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("words.m4a", b"these are words, not sound" * 20, "not a sound recording"),
        ("empty.wav", b"", "empty"),
        ("cut.wav", b"RIFF\x10\x00\x00\x00WAVEfmt ", "cut off"),
    ],
)
def test_what_is_no_recording_is_refused(tmp_path, capsys, name, content, said):
    path = tmp_path / name
    path.write_bytes(content)
    assert run(path) == 2
    err = capsys.readouterr().err
    assert name in err
    assert said in err


def test_a_missing_file_an_unknown_heat_and_a_missing_folder_are_refused(folder, launch, capsys):
    assert run(folder / "none.wav") == 2
    assert "none.wav" in capsys.readouterr().err
    assert run(launch, "--folder", folder, "--heat", "Z9") == 2
    assert "Z9" in capsys.readouterr().err
    assert run(launch, "--keep") == 2
    assert "--folder" in capsys.readouterr().err
    with pytest.raises(SystemExit) as stopped:
        run(launch, "--speed", "fast")
    assert stopped.value.code == 2


def test_without_the_library_wav_is_read_and_m4a_says_how(launch, tmp_path, capsys, monkeypatch):
    monkeypatch.setitem(sys.modules, "av", None)  # import av now raises ImportError
    assert run(launch) == 0
    capsys.readouterr()
    phone = tmp_path / "launch.m4a"
    phone.write_bytes(b"\x00\x00\x00\x20ftypM4A " + bytes(200))
    assert run(phone) == 2
    assert 'pip install "pitwright[sound]"' in capsys.readouterr().err


def test_a_phone_recording_is_measured(tmp_path, capsys):
    av = pytest.importorskip("av")
    sound = add_noise(engine_sound(TIMES, SPEEDS, 44_100, seed=2), 15.0, seed=2)
    data = np.ascontiguousarray(0.1 * sound[None, :], dtype=np.float32)
    path = tmp_path / "launch.m4a"
    with av.open(str(path), "w", format="ipod") as out:
        stream = out.add_stream("aac", rate=44_100, layout="mono")
        frame = av.AudioFrame.from_ndarray(data, format="fltp", layout="mono")
        frame.sample_rate = 44_100
        out.mux(stream.encode(frame))
        out.mux(stream.encode(None))
    assert run(path, "--place", "abeam", "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert told["answer"]["rpm"] == pytest.approx(18_000, rel=0.01)


def test_progress_goes_to_a_terminal_only(launch, tmp_path, capsys, monkeypatch):
    class Terminal(io.StringIO):
        def isatty(self):
            return True

    long = tmp_path / "long.wav"
    long.write_bytes(wav_bytes(engine_sound([0, 25], [6_000, 6_100], 8_000), 8_000))
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    run(long)
    assert "listening: 10 of 25 s" in terminal.getvalue()
    monkeypatch.undo()
    run(long)
    assert capsys.readouterr().err == ""
