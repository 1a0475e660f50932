"""What this laptop is called: short, for file names, and no other laptop's name."""

from __future__ import annotations

import os
import re
import socket
import subprocess
import sys
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from pitwright.store.create import new_weekend
from pitwright.store.laptop import host_name, laptop_name
from pitwright.store.session import Session
from pitwright.weekend.open_work import OpenBuild, Timer
from pitwright.weekend.records import NoteRecord

NOW = datetime(2026, 5, 15, 8, tzinfo=UTC)
SHAPE = re.compile(r"[a-z0-9]{1,12}_[a-z0-9]{4}")


@pytest.fixture
def host(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The host's name, to be changed in place."""
    name = ["tent1"]
    monkeypatch.setattr(socket, "gethostname", lambda: name[0])
    return name


@pytest.mark.parametrize(
    ("name", "short"),
    [
        ("tent1.local", "tent1"),
        ("workshop-laptop-01", "workshoplapt"),
        ("Müllers-Kiste", "mullerskiste"),
        ("палатка", "laptop"),
        ("テント", "laptop"),
        ("", "laptop"),
        ("..", "laptop"),
        ("x/../y", "x"),
    ],
)
def test_it_is_short_letters_and_a_tail(
    tmp_path: Path, host: list[str], name: str, short: str
) -> None:
    host[0] = name
    found = laptop_name(tmp_path)
    assert SHAPE.fullmatch(found)
    assert found.startswith(f"{short}_")
    assert laptop_name(tmp_path) == found, "the same again tomorrow"


def test_laptops_of_one_family_or_alphabet_have_names_of_their_own(
    tmp_path: Path, host: list[str]
) -> None:
    names = set()
    hosts = ("workshop-laptop-01", "workshop-laptop-02", "палатка", "テント", "tent1")
    for number, name in enumerate(hosts):
        host[0] = name
        # A home folder of its own, and one that was copied from another laptop.
        names |= {laptop_name(tmp_path / f"{number}"), laptop_name(tmp_path / "copied")}
    assert len(names) == 2 * len(hosts)


def test_without_files_of_the_user_it_is_the_same_each_time_and_by_the_hosts_name(
    tmp_path: Path, host: list[str]
) -> None:
    place = tmp_path / "laptops"
    place.write_text("a file in the way")
    names = []
    for name in ("workshop-laptop-01", "workshop-laptop-02", "палатка", "テント"):
        host[0] = name
        names.append(laptop_name(place))
        assert SHAPE.fullmatch(names[-1])
        assert laptop_name(place) == names[-1]
    assert len(set(names)) == 4
    # Once it can be kept, it is.
    place.unlink()
    assert laptop_name(place) == names[-1]
    assert names[-1] in next(place.iterdir()).read_text(encoding="utf-8")


def test_the_networks_part_of_the_hosts_name_is_not_this_laptops(
    tmp_path: Path, host: list[str]
) -> None:
    names = set()
    for name in ("Tent-Book.local", "Tent-Book.venue.example", "tent-book"):
        host[0] = name
        names.add(laptop_name(tmp_path))
    assert len(names) == 1


@pytest.mark.parametrize("text", ["", "name = 5", 'name = "../../x"', 'name = "a-b"', "\x00", "["])
def test_a_spoilt_file_of_the_name_is_no_reason_to_fail(
    tmp_path: Path, host: list[str], text: str
) -> None:
    found = laptop_name(tmp_path)
    (path,) = tmp_path.iterdir()
    path.write_text(text)
    assert SHAPE.fullmatch(laptop_name(tmp_path))
    path.write_text(f'name = "{found}"')
    assert laptop_name(tmp_path) == found


def test_processes_that_begin_at_once_agree_on_it(tmp_path: Path) -> None:
    code = "from pitwright.store.laptop import laptop_name; print(laptop_name())"
    env = os.environ | {"XDG_STATE_HOME": str(tmp_path)}
    calls = [
        subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, env=env)
        for _ in range(4)
    ]
    assert len({call.communicate(timeout=60)[0] for call in calls}) == 1


def test_what_an_earlier_pitwright_had_in_progress_is_found_again(tmp_path: Path) -> None:
    folder = tmp_path / "w"
    new_weekend(folder, name="W", time_zone="UTC", starts_on=date(2026, 5, 15))
    timer = Timer(name="t", label="tyres", due_at=NOW)
    with Session(folder, laptop=host_name(), clock=lambda: NOW) as old:
        old.append(NoteRecord(happened_at=NOW, text="before"))
        old.keep_timers([timer])
        old.keep_draft("measure", {"free_length": "10.1"})
    with Session(folder, clock=lambda: NOW) as new:
        assert new.laptop == laptop_name() != host_name()
        assert new.weekend.open.timers == [timer]
        assert new.weekend.open.drafts["measure"].fields == {"free_length": "10.1"}
        landed = new.append(NoteRecord(happened_at=NOW, text="after"))
        assert (landed.laptop, landed.sequence) == (new.laptop, 1)
        assert new.problems == ()
        new.keep_timers([])
    # Another earlier one has come by since: its work is its own.
    with Session(folder, laptop=host_name(), clock=lambda: NOW) as old:
        old.keep_timers([timer])
    with Session(folder, clock=lambda: NOW) as new:
        assert new.weekend.open.timers == []


def test_what_was_begun_on_a_day_when_no_name_could_be_kept_is_found_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "w"
    new_weekend(folder, name="W", time_zone="UTC", starts_on=date(2026, 5, 15))
    timer = Timer(name="t", label="tyres", due_at=NOW)
    full = tmp_path / "full"
    full.write_text("in the way")
    monkeypatch.setenv("XDG_STATE_HOME", str(full))
    with Session(folder, clock=lambda: NOW) as first:
        first.keep_timers([timer])
    # Another process, another day: that one can be kept.
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    with Session(folder, clock=lambda: NOW) as second:
        assert second.laptop != first.laptop
        assert second.weekend.open.timers == [timer]


def test_a_build_under_a_name_that_may_have_been_ours_is_named(tmp_path: Path) -> None:
    folder = tmp_path / "w"
    new_weekend(folder, name="W", time_zone="UTC", starts_on=date(2026, 5, 15))

    def said(laptop: str) -> list[str]:
        with Session(folder, laptop=laptop, clock=lambda: NOW) as session:
            assert session.weekend.open.build is None
            assert {p.weight for p in session.problems} <= {"warning"}
            return [p.file for p in session.problems]

    def begin(laptop: str) -> None:
        with Session(folder, laptop=laptop, clock=lambda: NOW) as session:
            steps = list(session.weekend.procedure.step[:1])
            session.keep_build(OpenBuild(route="full rebuild", started_at=NOW, steps=steps))

    begin("tent1_aaaa")
    assert said("tent1_bbbb") == ["open/tent1_aaaa/build.toml"]
    assert said("van2_cccc") == ["open/tent1_aaaa/build.toml"], "the only one"
    begin("paddock_dddd")
    assert said("van2_cccc") == [], "two laptops of other names"
    assert said("tent1_bbbb") == ["open/tent1_aaaa/build.toml"]
    with Session(folder, laptop="tent1_aaaa") as own:
        assert own.weekend.open.build is not None
        assert own.problems == ()
