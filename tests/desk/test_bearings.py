"""Bearings by the clock: in the list of what wears, before a main, and in what to buy."""

from __future__ import annotations

import pytest
from factory import WeekendMaker, local, scheduled

from pitwright.desk.clock.pre_main import pre_main
from pitwright.desk.stock.to_buy import to_buy
from pitwright.desk.wear.forecast_words import aligned_rows
from pitwright.desk.wear.timed import timed_lives

NOW = local(1, "9:00")
SCHEDULE = [
    scheduled("P1", "practice", 0, "10:00", 60),
    scheduled("P2", "practice", 0, "12:00", 60),
    scheduled("W1", "warm-up", 1, "10:00", 10),
    scheduled("M1", "main", 1, "12:00", 30),
]


@pytest.fixture
def maker(tmp_path):
    """Two hours on the bearings; the card gives them 180 min, and 40 are to come."""
    made = WeekendMaker(tmp_path / "w", schedule=SCHEDULE)
    made.fit("spring", "S1")
    made.fit("bearings", "R1")
    for name, clock in (("P1", "10:00"), ("P2", "12:00")):
        made.go(0, clock).heat(name, "practice", 60, warm_up_minutes=0)
    return made


def weekend_of(maker):
    with maker.session() as session:
        return session.weekend


def life(maker, minutes):
    card = maker.folder / "clutch.toml"
    card.write_text(card.read_text().replace('life = { value = "180 min"',
                                             f'life = {{ value = "{minutes} min"'))  # fmt: skip


def point(maker):
    return next(p for p in pre_main(weekend_of(maker), NOW).points if p.key == "bearings_last")


def test_a_life_in_minutes(maker):
    (found,) = timed_lives(weekend_of(maker), NOW)
    assert (found.run_minutes, found.life_minutes, found.minutes_left) == (120, 180, 60)
    assert found.change_before is None
    assert "invented: 60 min left" in " ".join(found.sentences)
    assert "turn it by hand" in " ".join(found.sentences)
    assert "60 min left by time" in aligned_rows([found.cells])[0]
    assert point(maker).word == "good"
    assert "60 min left" in point(maker).found


def test_due_in_the_main(maker):
    life(maker, 150)
    (found,) = timed_lives(weekend_of(maker), NOW)
    assert found.change_before == "M1"
    assert "Change it before M1" in " ".join(found.sentences)
    due = point(maker)
    assert due.word == "too close to call"
    assert "before M1" in due.todo


def test_past_its_life(maker):
    life(maker, 100)
    assert point(maker).word == "out"
    assert "past that" in " ".join(timed_lives(weekend_of(maker), NOW)[0].sentences)
    bought = {b.what: b for b in to_buy(weekend_of(maker))}
    assert bought["Bearing sets"].count == 1
    assert "1 past the life on the card" in bought["Bearing sets"].why


def test_within_its_life_nothing_is_bought(maker):
    assert "Bearing sets" not in {b.what for b in to_buy(weekend_of(maker))}


def test_a_run_that_nobody_timed_is_not_taken_for_none(maker):
    maker.go(0, "14:00").heat("P3", "practice", None)
    assert point(maker).word == "too close to call"
    assert "not timed" in point(maker).why


def test_nothing_fitted_on_record(tmp_path):
    bare = WeekendMaker(tmp_path / "bare", schedule=SCHEDULE)
    assert point(bare).word == "no record"


def test_a_card_without_a_life_has_no_point(maker):
    card = maker.folder / "clutch.toml"
    text = card.read_text()
    start = text.index("[bearings]")
    card.write_text(text[:start] + text[text.index("[nut]") :])
    assert timed_lives(weekend_of(maker), NOW) == ()
    assert "bearings_last" not in {p.key for p in pre_main(weekend_of(maker), NOW).points}
    assert "Bearing sets" not in {b.what for b in to_buy(weekend_of(maker))}


def test_as_many_springs_as_the_weekend_took(maker):
    """S1, S2 and S3 were new and went in; none is left: three for the next weekend."""
    maker.go(0, "15:00").fit("spring", "S2", removed="S1")
    maker.later(5).fit("spring", "S3", removed="S2")
    tried = {b.what: b for b in to_buy(weekend_of(maker))}
    assert tried["Springs"].count == 1  # S2 never ran and lies unused
    maker.later(5).heat("P3", "practice", 8)
    maker.later(5).fit("spring", "S2", removed="S3")  # back in: it is not a new one
    bought = {b.what: b for b in to_buy(weekend_of(maker))}
    assert bought["Springs"].count == 3
    assert bought["Springs"].why == "none unused left, 3 new ones used this weekend"


def test_a_spring_that_came_with_running_is_not_a_new_one(maker):
    stock = maker.folder / "stock.toml"
    text = stock.read_text()
    stock.write_text(text.replace('label = "Spring 2"', 'label = "Spring 2"\nrun_minutes = 40', 1))
    assert "run_minutes = 40" in stock.read_text()
    maker.go(0, "15:00").fit("spring", "S2", removed="S1")
    # S1 was new, S2 was not, S3 lies unused: that is enough for one a weekend.
    assert "Springs" not in {b.what for b in to_buy(weekend_of(maker))}
