"""The list before a main: each point is good only by a record, never by a tick."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final

from pitwright.desk.build.facts import step_in_hand
from pitwright.desk.clock.locked import screw, thread_lock
from pitwright.desk.clock.pre_main_point import PointWord, PreMainPoint, since_words
from pitwright.desk.clock.pre_main_race import race_point
from pitwright.desk.measure.judged import advice_after, card_limits, kept_words, limits_of
from pitwright.desk.measure.limits import in_force
from pitwright.desk.status import next_main
from pitwright.desk.wear.timed import timed_lives
from pitwright.desk.wording import mm, running_words, when_words
from pitwright.weekend.card import ClutchCard, Quantity
from pitwright.weekend.places import PART_PLACES
from pitwright.weekend.procedure import Step
from pitwright.weekend.records import Reading
from pitwright.weekend.schedule import PlannedHeat
from pitwright.weekend.state import FigureInForce, State
from pitwright.weekend.weekend import Weekend

__all__ = ["PointWord", "PreMain", "PreMainPoint", "pre_main", "pre_main_lines", "title_line"]

_BEFORE_LOCK: Final = ("free_length", "recess")
_AFTER_SCREW: Final = ("end_play", "shoe_thickness")


@dataclass(frozen=True)
class PreMain:
    """The list before ``main``, the next main to come; ``notes`` what else to know."""

    main: PlannedHeat | None
    points: tuple[PreMainPoint, ...]
    notes: tuple[str, ...] = ()

    @property
    def ready(self) -> bool:
        """Whether every point is good."""
        return all(point.word == "good" for point in self.points)


def pre_main(weekend: Weekend, now: datetime, clutch: str | None = None) -> PreMain:
    """Return the list of a clutch at ``now``, with or without a main to come.

    Raises KeyError when there is no such clutch.
    """
    card = weekend.card(clutch)
    state = weekend.state(None, card.id)
    main = next_main(weekend, now)
    points: list[PreMainPoint] = []
    points += _readings(weekend, card, state, now, _BEFORE_LOCK)
    points += [thread_lock(weekend, card, now, main), screw(weekend, card, now)]
    points += _readings(weekend, card, state, now, _AFTER_SCREW)
    points.append(race_point(weekend, card, state, now, main))
    points += _bearings(weekend, card, now, main)
    return PreMain(main, tuple(points), tuple(_notes(weekend, card)))


def _notes(weekend: Weekend, card: ClutchCard) -> Iterator[str]:
    build = weekend.open.build
    if build is not None and build.clutch == card.id:
        yield f"A {build.route} is still open, at: {step_in_hand(build).title}"
    heat = weekend.open.heat
    if heat is not None and heat.heat.clutch == card.id:
        yield f"{heat.heat.heat} is not on record yet: its running is not counted here"


# Readings


def _readings(
    weekend: Weekend, card: ClutchCard, state: State, now: datetime, keys: Sequence[str]
) -> Iterator[PreMainPoint]:
    for key in keys:
        if key in card.quantities:
            yield _reading(weekend, card, state, now, key, in_force(card, key, state))


def _reading(
    weekend: Weekend, card: ClutchCard, state: State, now: datetime, key: str, spec: Quantity
) -> PreMainPoint:
    label, measure = spec.label, f"Measure it: {spec.how}" if spec.how else "Measure it"

    def no_record(why: str, found: str = "", age: str = "", record: str = "") -> PreMainPoint:
        return PreMainPoint(key, label, "no record", found, age, why, measure, record)

    figure, part = _in_force(state, key, spec)
    if figure is None:
        return no_record(f"{part} was never measured" if part else "never measured")
    age = (
        f"{when_words(figure.at, now, weekend.event.zone)}, "
        f"{since_words(figure.run_minutes, figure.unknown_runs)}"
    )
    reading = figure.reading
    if reading is None:
        found = f"set to {mm(figure.value_mm, spec.decimals)}"
        return no_record("set, but not measured since", found, age, figure.record)
    found = kept_words(reading, spec.decimals)
    if figure.overtaken:
        return no_record(_overtaken_by(state, figure, spec), found, age, figure.record)
    missed = _missed_by_build(weekend, card, state, figure, key)
    if missed:
        point = no_record(missed, found, age, figure.record)
        in_hand = weekend.open.build is not None and weekend.open.build.clutch == card.id
        return replace(point, todo="Go on with the build") if in_hand else point
    if reading.verdict is None:
        return PreMainPoint(
            key, label, "no record", found, age, "there was no limit to judge it by",
            "Put the limit on the clutch card and measure again", figure.record,
        )  # fmt: skip
    word: PointWord = reading.verdict
    why, todo = "", ""
    if word == "out":
        why = f"kept because: {reading.reason}" if reading.reason else "past its limit"
        todo = advice_after(reading, spec) or "Put it right and measure again"
    elif figure.run_minutes > 0 or figure.unknown_runs:
        why, todo = "run since it was measured", measure
    elif _limits_changed(reading, spec):
        why, todo = "the card's limits were changed since", measure
    elif word == "too close to call":
        why, todo = "too near its limit to be sure", "Measure again, more readings, or change it"
    if why and word == "good":
        word = "too close to call"
    return PreMainPoint(key, label, word, found, age, why, todo, figure.record)


def _in_force(state: State, key: str, spec: Quantity) -> tuple[FigureInForce | None, str]:
    """Return the figure of the part fitted now, or of the clutch, and the part's name."""
    place = next((p for p in PART_PLACES if p == spec.of), None)
    fitted = state.fitted(place) if place is not None else None
    if fitted is None:
        return state.figures.get(key), ""
    return fitted.figures.get(key), fitted.label or fitted.part


def _overtaken_by(state: State, figure: FigureInForce, spec: Quantity) -> str:
    places: list[str] = [
        p.place
        for p in state.parts.values()
        if p.fitted and p.place in spec.overtaken_by and p.fitted_at and p.fitted_at >= figure.at
    ]
    places += [
        s.place for s in state.shims.values() if s.place in spec.overtaken_by and s.at >= figure.at
    ]
    return f"fitted since: {', '.join(places)}" if places else "a part was fitted since"


def _missed_by_build(
    weekend: Weekend, card: ClutchCard, state: State, figure: FigureInForce, key: str
) -> str:
    """Return why a reading is older than a build that takes this quantity anew, if it is."""
    build = weekend.open.build
    if build is not None and build.clutch == card.id and _measures(build.steps, key):
        if figure.at < build.started_at:
            return f"not measured yet in the open {build.route}"
        return ""
    last = state.build
    if last is not None and _measures(last.steps, key) and figure.at < last.happened_at:
        return f"not measured in the last build, a {last.route}"
    return ""


def _measures(steps: Sequence[Step], key: str) -> bool:
    return any(key in step.measures for step in steps)


def _limits_changed(reading: Reading, spec: Quantity) -> bool:
    then = limits_of(reading)
    try:
        today = card_limits(spec)
    except ValueError:
        return True
    if then is None or today is None:
        return False
    pairs = (
        (then.low, today.low),
        (then.high, today.high),
        (then.discard_below, today.discard_below),
        (then.discard_above, today.discard_above),
    )
    return any(
        (a is None) != (b is None) or (a is not None and b is not None and abs(a - b) > 1e-9)
        for a, b in pairs
    )


# Bearings


def _bearings(
    weekend: Weekend, card: ClutchCard, now: datetime, main: PlannedHeat | None
) -> Iterator[PreMainPoint]:
    """Yield whether the bearings' time on the card lasts the main; nothing without such a time.

    Nothing of a bearing is measured: past its time it is due, and within it only not known bad.
    """
    if card.bearings is None:
        return
    key, label = "bearings_last", "Bearings will last"
    life = next((t for t in timed_lives(weekend, now, card.id) if t.standing == "fitted"), None)
    if life is None:
        yield PreMainPoint(
            key, label, "no record", why="no bearings on record as fitted",
            todo="Record what is fitted",
        )  # fmt: skip
        return
    found = f"{max(life.minutes_left, 0.0):.0f} min left by time"
    age = f"ran {running_words(life.run_minutes, life.unknown_runs)}"
    word: PointWord = "good"
    why = todo = ""
    if life.minutes_left <= 0:
        word, why, todo = "out", "past the life on the card", "Fit fresh bearings"
    elif main is None:
        word, why = "no record", "no main is planned"
    elif life.change_before is not None and _by(weekend, life.change_before, main):
        word, why = "too close to call", f"past the life on the card by the end of {main.name}"
        todo = f"Fit fresh bearings before {life.change_before}"
    elif life.unknown_runs:
        word, why = "too close to call", "a run was not timed: its minutes are not counted"
        todo = "Turn them by hand; a rough one goes"
    yield PreMainPoint(key, label, word, found, age, why, todo)


def _by(weekend: Weekend, heat: str, main: PlannedHeat) -> bool:
    """Tell whether a heat to come is run by the end of ``main``."""
    planned = next((h for h in weekend.schedule if h.name == heat), None)
    return planned is None or planned.starts_at <= main.starts_at


# In words


def pre_main_lines(found: PreMain, weekend: Weekend, now: datetime) -> list[str]:
    """Return the list as lines of text."""
    lines = [title_line(found, weekend, now), *(f"Note: {note}" for note in found.notes)]
    width = max((len(p.label) for p in found.points), default=0)
    for point in found.points:
        lines.append(f"  {point.word:<17}  {point.label:<{width}}  {point.told}".rstrip())
        lines += [f"  {'':<17}  {line}" for line in point.under]
    return lines


def title_line(found: PreMain, weekend: Weekend, now: datetime) -> str:
    """Return what the list is for and how many points are not good yet."""
    open_points = sum(1 for p in found.points if p.word != "good")
    verdict = "all good" if not open_points else f"{open_points} of {len(found.points)} not good"
    if found.main is None:
        return f"No main to come; the list as it stands: {verdict}"
    at = when_words(found.main.starts_at, now, weekend.event.zone)
    return f"Before {found.main.name} at {at}: {verdict}"
