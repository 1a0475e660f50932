"""The bite in words: the same lines for the screen and the command line."""

from __future__ import annotations

from pitwright.desk.bite.bite import BiteDesk, BiteFigures, Change
from pitwright.desk.clutch.observed import Sighting
from pitwright.desk.wording import mm

__all__ = [
    "bite_lines",
    "figure_rows",
    "instead_rows",
    "legend",
    "more_torque",
    "notes",
    "observation_lines",
    "rpm_words",
    "signed_rpm",
    "trust_line",
]


_TELL_RPM = 5.0


def rpm_words(rpm: float, u: float | None = None) -> str:
    """Return an engine speed, with its expanded uncertainty (k = 2) when known: ``12 340 ± 210``.

    Rounded to ten; what the model gives beyond that is not knowledge.
    """
    value = f"{round(rpm, -1):,.0f}".replace(",", " ")
    return value if u is None else f"{value} ± {rpm_words(2 * u)}"


def signed_rpm(rpm: float, u: float | None = None) -> str:
    """Return a change of engine speed with its sign: ``+230 ± 60``."""
    rounded = round(rpm, -1)
    value = f"{rounded:+,.0f}".replace(",", " ") if rounded else "0"
    return value if u is None else f"{value} ± {rpm_words(2 * u)}"


def trust_line(found: BiteDesk) -> str:
    """Return in one line what the numbers are worth."""
    counted = [s for s in found.observations if not s.why_not]
    creeps = sum(s.how == "creep" for s in counted)
    plateaus = len(counted) - creeps
    if found.calibrated:
        more = f", {plateaus} take-up" if plateaus else ""
        return f"Calibrated: {creeps} creep{more} seen"
    if plateaus:
        return "NOT CALIBRATED for the bite: no creep seen"
    return "NOT CALIBRATED yet: trust only changes"


def _speed(rpm: float | None, u: float | None, calibrated: bool) -> str:
    if rpm is None:
        return "none"
    if not calibrated:
        return f"model {rpm_words(rpm, u)} rpm, not calibrated"
    return f"{rpm_words(rpm, u)} rpm"


def more_torque(change: Change) -> str:
    """Return how much more torque other shoes pass: ``+20 ± 24 % torque for the same push``."""
    more, u = change.torque_percent or 0.0, change.u_torque_percent or 0.0
    return f"{more:+.0f} ± {2 * u:.0f} % torque for the same push"


def bite_lines(found: BiteDesk) -> list[str]:
    """Return the bite as lines of text."""
    figures = found.tried
    lines = [trust_line(found), _setting(figures, "Tried" if found.tries.any else "Now")]
    if figures.refused:
        return [*lines, f"  Cannot bite: {figures.refused}"]
    sure = found.calibrated
    against = found.since_like
    changes: tuple[tuple[float | None, float | None], ...] = ((None, None),) * 3
    if against is not None:
        changes = (
            (against.bite_rpm, against.u_bite_rpm),
            (against.let_go_rpm, against.u_let_go_rpm),
            (against.lock_up_rpm, against.u_lock_up_rpm),
        )
    speeds = (
        ("Bite", figures.bite_rpm, figures.u_bite_rpm),
        ("Lets go", figures.let_go_rpm, figures.u_let_go_rpm),
        ("Locks up", figures.lock_up_rpm, figures.u_lock_up_rpm),
    )
    for (label, rpm, u), (change, u_change) in zip(speeds, changes, strict=True):
        shown = _speed(rpm, u, sure)
        if label == "Locks up" and rpm is None:
            shown = f"never: {figures.no_lock_up}"
        if against is None or change is None:
            lines.append(f"  {label:<16}{shown}")
            continue
        moved = f"{signed_rpm(change, u_change)} rpm against {against.against}"
        first, second = (shown, moved) if sure else (moved, shown)
        lines.append(
            f"  {label:<16}{first}, {second}" if sure else f"  {label:<16}{first} ({second})"
        )
    if against is not None and against.torque_percent is not None:
        lines.append(f"  {'Other shoes':<16}{more_torque(against)} against {against.against}")
    since = found.since_now
    if since is not None and abs(since.bite_rpm) >= _TELL_RPM:
        lines.append(f"  {'Tries move it':<16}{signed_rpm(since.bite_rpm)} rpm")
    if figures.free_travel_mm is not None:
        lines.append(
            f"  {'Travel left':<16}{mm(figures.free_travel_mm)} at the bite, "
            f"{100 * (figures.solid_share or 0.0):.0f} % of the way to solid"
        )
    if found.per_tenth is not None:
        per = found.per_tenth
        lines.append(
            f"  {'Per 0.1 mm':<16}recess {signed_rpm(per.recess)}, "
            f"sag {signed_rpm(-per.free_length)}, shoe wear {signed_rpm(per.worn)} rpm"
        )
    if found.air is not None and found.lock_up_by_air_rpm is not None:
        percent = found.air.torque_percent or 0.0
        lines.append(
            f"  {'Air':<16}torque {percent:+.1f} % at most, "
            f"lock-up {signed_rpm(found.lock_up_by_air_rpm)} rpm"
        )
    if found.like_unknown:
        lines.append(f"  Nothing to compare with: {found.like_unknown}")
    return [*lines, *(f"  Note: {c}" for c in found.cautions)]


def figure_rows(found: BiteDesk, *, narrow: bool) -> list[str]:
    """Return the figures as aligned rows for the screen.

    Calibrated speeds first, then the change against the compared heat; without a calibration the
    change comes first and the model's own number is marked as such.
    """
    figures, against = found.tried, found.since_like
    if figures.refused:
        return [f"Cannot bite: {figures.refused}"]
    sure = found.calibrated
    name = against.against if against is not None else ""
    head = ("rpm", f"against {name}") if sure else (f"against {name}", "model only")
    if against is None:
        head = ("rpm" if sure else "", "" if sure else "model only")
    word = "Tried" if found.tries.any else "Now"
    rows = [f"{word:<9}{head[0]:>13}{head[1]:>15}"]
    # A change without a range stands under the one that has it, digit under digit.
    tail = 0
    if against is not None:
        _, sign, u_words = signed_rpm(against.bite_rpm, against.u_bite_rpm).partition(" ±")
        tail = len(sign + u_words)
    for label, rpm, u, change, u_change in (
        (
            "Bite",
            figures.bite_rpm,
            figures.u_bite_rpm,
            None if against is None else against.bite_rpm,
            None if against is None else against.u_bite_rpm,
        ),
        (
            "Lets go",
            figures.let_go_rpm,
            figures.u_let_go_rpm,
            None if against is None else against.let_go_rpm,
            None,
        ),
        (
            "Locks up",
            figures.lock_up_rpm,
            figures.u_lock_up_rpm,
            None if against is None else against.lock_up_rpm,
            None,
        ),
    ):
        value = "never" if rpm is None else rpm_words(rpm, u if sure else None)
        moved = "" if change is None else signed_rpm(change, u_change)
        if u_change is None:
            moved += " " * tail
        first, second = (value, moved) if sure else (moved, value)
        rows.append(f"{label:<9}{first:>13}{second:>15}".rstrip())
    if figures.no_lock_up:
        rows.append(f"No lock-up: {figures.no_lock_up}")
    if found.since_now is not None and abs(found.since_now.bite_rpm) >= _TELL_RPM:
        rows.append(f"{'So moved':<9}{signed_rpm(found.since_now.bite_rpm):>13} on the bite now")
    if against is not None and against.torque_percent is not None:
        rows.append(f"Other shoes: {more_torque(against)}")
    if figures.free_travel_mm is not None:
        binds = "till it binds" if narrow else "left before the spring binds"
        rows.append(f"{'Travel':<9}{figures.free_travel_mm:>13.2f} mm {binds}")
    if found.per_tenth is not None:
        per = found.per_tenth
        rows.append(
            f"0.1 mm: recess {signed_rpm(per.recess)}, sag {signed_rpm(-per.free_length)}, "
            f"wear {signed_rpm(per.worn)}"
        )
    return rows


def legend(found: BiteDesk) -> str:
    """Return what the signs of the plot mean; upright is torque in newton metre."""
    like = f"  + {found.like.label}" if found.like is not None and not found.like.refused else ""
    if found.tried.refused:
        return f"N m:{like} up" if like else ""
    return f"N m:  - engine  ⠢ up  · down{like}"


def instead_rows(found: BiteDesk) -> list[str]:
    """Return what stands in place of the curves of a clutch without any; empty when it has some."""
    refused = found.tried.refused
    if not refused:
        return []
    rows = [f"No curve: {refused}", ""]
    if found.ways:
        rows += ["Any one of these lets it bite:", *(f"  {way}" for way in found.ways)]
        if any(way.startswith("Shoe wear") for way in found.ways):
            rows.append("Less wear is newer shoes.")
        rows.append("Turn a line on the left to try one.")
    elif found.now.recess_mm is None:
        rows.append("Measure (key 3) takes what is missing.")
    if found.tries.any:
        rows.append("r puts all tries back.")
    return rows


def notes(found: BiteDesk) -> list[str]:
    """Return the cautions as lines, and the air's effect when it is tried."""
    lines = []
    if found.air is not None:
        if found.air.refused:
            lines.append(f"Air: {found.air.refused}")
        elif found.lock_up_by_air_rpm is not None:
            lines.append(f"Air moves lock-up {signed_rpm(found.lock_up_by_air_rpm)} rpm at most")
        lines += [f"Air: {each}" for each in found.air.assumed]
    if found.like_unknown:
        lines.append(f"Nothing to compare with: {found.like_unknown}")
    return [*lines, *(f"! {c}" for c in found.cautions)]


def _setting(figures: BiteFigures, word: str) -> str:
    if figures.recess_mm is None or figures.free_length_mm is None or figures.worn_mm is None:
        return word
    return (
        f"{word}: recess {mm(figures.recess_mm)}, spring {mm(figures.free_length_mm)}, "
        f"shoes worn {mm(figures.worn_mm)}"
    )


def observation_lines(seen: tuple[Sighting, ...]) -> list[str]:
    """Return each observed speed as a line, the newest first."""
    lines = []
    for each in reversed(seen):
        heat = f" {each.heat}" if each.heat else ""
        what = "creep" if each.how == "creep" else "take-up"
        left_out = f"; left out: {each.why_not}" if each.why_not else ""
        lines.append(
            f"{what:<8}{rpm_words(each.rpm, each.u_rpm)} rpm{heat}, {each.source}{left_out}"
        )
    return lines
