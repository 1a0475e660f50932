"""Which part a choice offers, what it says of each, and where it begins."""

from __future__ import annotations

from pathlib import Path

import pytest
from factory import WeekendMaker

from pitwright.desk.stock.fitting import part_choices, part_to_fit


@pytest.fixture
def maker(tmp_path: Path) -> WeekendMaker:
    made = WeekendMaker(tmp_path / "w")
    made.fit("spring", "S1")
    made.check(free_length=10.2)
    made.later(5).heat("P1", "practice", 20)
    return made


def offered(maker: WeekendMaker) -> tuple[dict[str, str], str | None]:
    with maker.session() as session:
        choices = part_choices(session.weekend, "spring", "A")
        return {c.part: c.detail for c in choices}, part_to_fit(session.weekend, "spring", "A")


def test_a_good_part_stays(maker: WeekendMaker) -> None:
    details, begins = offered(maker)
    assert list(details) == ["S1", "S2", "S3"]
    assert details["S1"] == "stays, 10.20 mm, 20 min run"
    assert begins == "S1"


def test_a_part_that_is_out_says_so_and_is_not_begun_at(maker: WeekendMaker) -> None:
    maker.later(1).check("out", free_length=9.78)
    details, begins = offered(maker)
    assert details["S1"] == "fitted now, out: 9.78 mm, 20 min run"
    assert begins == "S2"


def test_of_the_others_the_one_without_doubt_that_ran_least_comes_first(
    maker: WeekendMaker,
) -> None:
    maker.later(1).check("out", free_length=9.78)
    maker.later(1).fit("spring", "S2", removed="S1")
    maker.later(1).check("too close to call", free_length=9.81)
    assert offered(maker)[1] == "S2"  # it is there, and it is not out
    maker.later(1).heat("P2", "practice", 8)
    maker.later(1).fit("spring", "S3", removed="S2")
    maker.later(1).check("out", free_length=9.7)
    details, begins = offered(maker)
    assert details["S2"] == "too close to call: 9.81 mm, 8 min run"
    assert begins == "S2"


def test_with_all_of_them_out_it_begins_at_none(maker: WeekendMaker) -> None:
    for part, before in (("S1", None), ("S2", "S1"), ("S3", "S2")):
        maker.later(1).fit("spring", part, removed=before)
        maker.later(1).check("out", free_length=9.7)
    assert offered(maker)[1] is None
