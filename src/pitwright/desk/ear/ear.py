"""Take-ups heard in a recording, put right by hand, pooled, and as records.

A take-up (plateau) and a creep speed are different things and stay so: a take-up sets the scale on
the engine's torque only, and is never taken for a bite.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING, Literal

from pitwright.desk.clutch.observed import OBSERVED_U_RPM, observation_record
from pitwright.weekend.records import Observation
from pitwright.weekend.weekend import Weekend

if TYPE_CHECKING:
    from pitwright.sound.listen import Hearing
    from pitwright.sound.takeup import Place, Speed

__all__ = [
    "CREEPING_M_S",
    "Take",
    "apart",
    "creep_take",
    "doubled",
    "ear_draft",
    "heat_guess",
    "heats_heard",
    "keep_doubt",
    "keep_trouble",
    "marked",
    "pooled",
    "take_ups",
    "typed",
]

How = Literal["plateau", "creep"]
_LOWEST_RPM, _HIGHEST_RPM = 1000.0, 60000.0
_UNASKED = 0.98  # chance from which a take-up is kept without a question
CREEPING_M_S = 1.0
"""No car whose wheels just begin to turn moves faster than a slow walk (invented bound)."""


@dataclass(frozen=True)
class Take:
    """One speed in hand: a launch's take-up, a creep, or several take-ups together.

    start_s, end_s: the launch in the recording; speed: None where nothing was measured, for
    ``reason``; by_hand: what the user changed; count, spread_rpm: of several together.
    """

    name: str
    how: How
    speed: Speed | None
    start_s: float
    end_s: float
    reason: str = ""
    by_hand: str = ""
    discarded: bool = False
    kept: bool = False
    count: int = 1
    spread_rpm: float = 0.0


# What was heard


def take_ups(hearing: Hearing) -> tuple[Take, ...]:
    """Return every launch heard, measured or not, in order of time."""
    return tuple(
        Take(
            f"Launch {number}",
            "plateau",
            launch.take_up,
            launch.start_s,
            launch.end_s,
            launch.reason,
        )
        for number, launch in enumerate(hearing.launches, 1)
    )


def pooled(takes: Sequence[Take]) -> Take | None:
    """Return the median of the take-ups not discarded, None for fewer than two or unlike ones.

    Creep speeds never enter it.
    """
    from pitwright.sound.takeup import Speed, repeats

    counted = _counted(takes)
    speeds = [t.speed for t in counted if t.speed is not None]
    together = repeats(speeds)
    if together is None or together.count < 2:
        return None
    speed = Speed(
        "plateau",
        together.median_rpm,
        together.u_rpm,
        (("all launches together", together.u_rpm),),
        speeds[0].start_s,
        speeds[-1].end_s,
        min(s.confidence for s in speeds),
        any(s.every_second_turn for s in speeds),
    )
    return Take(
        "All together",
        "plateau",
        speed,
        counted[0].start_s,
        counted[-1].end_s,
        kept=all(t.kept for t in counted),
        count=together.count,
        spread_rpm=together.spread_rpm,
    )


def _counted(takes: Sequence[Take]) -> list[Take]:
    return [
        t
        for t in takes
        if t.how == "plateau" and t.count == 1 and not t.discarded and t.speed is not None
    ]


def apart(takes: Sequence[Take]) -> bool:
    """Return whether the take-ups differ by more than their doubt, so that none can be trusted."""
    from pitwright.sound.takeup import belong_together

    speeds = [t.speed for t in _counted(takes) if t.speed is not None]
    return len(speeds) > 1 and not belong_together(speeds)


def creep_take(
    hearing: Hearing,
    mark_s: float,
    *,
    place: Place = "standstill",
    car_speed_m_s: float = CREEPING_M_S,
) -> Take:
    """Return the creep speed at a mark; raises NoCreepError (sound.takeup), which says why not."""
    from pitwright.sound.takeup import creep_speed

    speed = creep_speed(hearing.track, mark_s, place=place, car_speed_m_s=car_speed_m_s)
    return Take(f"Creep {mark_s:.2f} s", "creep", speed, speed.start_s, speed.end_s)


# By hand


def marked(
    take: Take,
    hearing: Hearing,
    mark_s: float,
    *,
    place: Place = "anywhere",
    car_speed_m_s: float = 12.0,
    pull_m_s_2: float | None = None,
) -> Take:
    """Return the take-up measured anew where the user puts the mark.

    Raises NotStandingError (sound.takeup) when the speed does not stand still there.
    """
    from pitwright.sound.takeup import marked_plateau

    speed = marked_plateau(
        hearing.track, mark_s, place=place, car_speed_m_s=car_speed_m_s, pull_m_s_2=pull_m_s_2
    )
    return replace(take, speed=speed, by_hand=f"marked at {mark_s:.2f} s", reason="")


def typed(take: Take, rpm: float, plus_minus_rpm: float | None = None) -> Take:
    """Return the take with a speed the user typed; ± is read as twice the standard uncertainty.

    Raises ValueError for a speed no engine turns.
    """
    from pitwright.sound.takeup import Speed

    _check_speed(rpm)
    u = OBSERVED_U_RPM["recording"] if plus_minus_rpm is None else plus_minus_rpm / 2
    old = take.speed
    start, end = (take.start_s, take.end_s) if old is None else (old.start_s, old.end_s)
    speed = Speed(take.how, rpm, u, (("typed", u),), start, end, 0.0, False)
    return replace(take, speed=speed, by_hand="typed", reason="")


def doubled(take: Take) -> Take:
    """Return the take at twice the speed: an engine that skips most firings reads half.

    Raises ValueError when there is no speed, when it is of several launches or kept already, or
    when twice of it is more than an engine turns.
    """
    if take.count > 1 or take.kept:
        raise ValueError("double each launch by itself, before it is kept")
    if take.speed is None:
        raise ValueError("there is no speed to double")
    speed = take.speed
    _check_speed(2 * speed.rpm)
    parts = tuple((name, 2 * u) for name, u in speed.parts)
    twice = replace(
        speed, rpm=2 * speed.rpm, u_rpm=2 * speed.u_rpm, parts=parts, every_second_turn=True
    )
    by_hand = f"{take.by_hand}, doubled" if take.by_hand else "doubled"
    return replace(take, speed=twice, by_hand=by_hand)


def _check_speed(rpm: float) -> None:
    if not _LOWEST_RPM < rpm < _HIGHEST_RPM:
        raise ValueError(
            f"{rpm:.0f} rpm: between {_LOWEST_RPM:.0f} and {_HIGHEST_RPM:.0f} can be used"
        )


# Keeping


def keep_trouble(take: Take, takes: Sequence[Take]) -> str:
    """Return why a take cannot be kept, or nothing."""
    if take.speed is None:
        return "nothing was measured there: correct it by hand, or discard it"
    if take.discarded:
        return "it is discarded; d takes it back"
    if take.kept:
        return "it is kept already"
    if not _LOWEST_RPM < take.speed.rpm < _HIGHEST_RPM:
        return "no engine turns at that speed"
    kept = [t.name for t in takes if t.how == "plateau" and t.kept]
    if take.count > 1 and kept:
        return f"{' and '.join(kept)} kept already, and would count twice in the median"
    return ""


def keep_doubt(take: Take, takes: Sequence[Take]) -> str:
    """Return what to ask before a take is kept, empty when it is sure enough."""
    if take.speed is None or take.how == "creep" or take.by_hand:
        return ""
    if apart(takes):
        return "the take-ups of this recording differ by more than their doubt: one is none"
    sure = take.speed.confidence
    if sure < _UNASKED:
        return f"only {100 * sure:.0f} % sure that this is a take-up of this clutch"
    return ""


def ear_draft(
    take: Take,
    *,
    now: datetime,
    clutch: str,
    heat: str | None = None,
    file: str = "",
    held_at_grip: bool = False,
) -> Observation:
    """Return the record of a take: a plateau stays a plateau, a creep a creep.

    held_at_grip: see Observation. Raises ValueError when nothing was measured.
    """
    if take.speed is None:
        raise ValueError("nothing was measured")
    speed = take.speed
    said = [file] if file else []
    if take.count > 1:
        said.append(f"median of {take.count} launches, {take.spread_rpm:.0f} rpm apart")
    else:
        said.append(f"{take.name} at {speed.start_s:.2f} s")
    if take.by_hand:
        said.append(f"by hand: {take.by_hand}")
    return observation_record(
        take.how,
        round(speed.rpm, 1),
        now=now,
        clutch=clutch,
        source="recording",
        u_rpm=max(round(speed.u_rpm, 1), 1.0),
        heat=heat,
        held_at_grip=held_at_grip,
        note="; ".join(said),
    )


def heats_heard(weekend: Weekend, clutch: str | None = None) -> list[str]:
    """Return the heats a recording can be of: run on this clutch, in the order they were run."""
    card = weekend.card(clutch)
    return list(
        dict.fromkeys(
            h.run.heat
            for h in weekend.heats
            if h.run.status != "cancelled" and h.run.clutch == card.id
        )
    )


def heat_guess(file: str, heats: Sequence[str]) -> str | None:
    """Return the heat a file is named after (``launch-Q2.m4a``), else None."""
    words = re.split(r"[^0-9a-z]+", file.rsplit(".", 1)[0].lower())
    return next((heat for heat in heats if heat.lower() in words), None)
