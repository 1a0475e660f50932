"""The warmth of a clutch in words: the same lines for the screen and the command line."""

from __future__ import annotations

from pitwright.desk.bite.words import rpm_words, signed_rpm
from pitwright.desk.warmth.price import ShoePrice
from pitwright.desk.warmth.warmth import AtMinute, WarmthDesk
from pitwright.desk.wording import counted

__all__ = ["late_rows", "price_lines", "warmth_lines"]


def warmth_lines(found: WarmthDesk) -> list[str]:
    """Return the warmth as lines of text."""
    if found.unknown:
        return [f"Warmth: cannot say yet, {found.unknown}"]
    lines = [f"Warmth over a heat, {found.gears}, laps of {found.lap_s:.1f} s"]
    if not found.calibrated:
        lines.append("  Not calibrated on both creep and take-up speeds: good for comparing only")
    for corner in found.corners:
        lines.append(_row(corner.label, f"{corner.a_lap} x {corner.joules:.0f} J a lap"))
    if found.lap_joules <= 0:
        lines.append("  No corner is slow enough for the clutch to slip")
    where = found.heat or "a main"
    worth = found.heat_joules / found.launch_joules if found.launch_joules else 0.0
    lines += [
        _row("In all", f"{found.heat_joules / 1000:.1f} kJ in {where} of {found.minutes:.0f} min,"),
        _row("", f"as much as {worth:.0f} launches of {found.launch_joules:.0f} J"),
    ]
    for at in found.at:
        lines += _minute(at)
    lines += _cooling(found)
    lines += price_lines(found)
    lines += [
        _row("Taken", "full throttle out of each corner: the most it can be"),
        _row("", f"{found.bell_share * 100:.0f} % of the heat goes into the bell"),
        _row("", "what the crank brings from the engine counts as the clutch's"),
        *(_row("", each) for each in found.assumed),
    ]
    return [*lines, "  A bell that has just run burns: read it with the gun, not by hand"]


def price_lines(found: WarmthDesk) -> list[str]:
    """Return what a tooth or a tenth costs in shoes; no line without slip heat."""
    lines = []
    if found.shoes is not None:
        lines.append(
            _row(
                "Shoe wear",
                f"{found.shoes.um_per_kj / 1e3:.4f} ± {2 * found.shoes.u_um_per_kj / 1e3:.4f} "
                f"mm per kJ, by {counted(found.shoes.readings, 'reading')}",
            )
        )
    for price in found.prices:
        lines += [f"  {price.change}", _row("", _price(price))]
    return lines


def late_rows(late: AtMinute | None) -> list[str]:
    """Return in two short rows what a main does to lock-up and bite; none when it is not known."""
    if late is None:
        return []
    lock = "it may not lock up"
    if late.lock_up_change_rpm is not None:
        lock = f"lock-up {signed_rpm(late.lock_up_change_rpm, late.u_lock_up_change_rpm)}"
    bite = signed_rpm(late.bite_change_rpm, late.u_bite_change_rpm)
    return [f"Minute {late.minute:.0f} of a main: bell {_degrees(late)}", f"{lock}, bite {bite}"]


def _row(label: str, text: str) -> str:
    return f"  {label:<16}{text}"


def _degrees(at: AtMinute) -> str:
    return f"{at.bell_c:.0f} ± {2 * at.u_bell_k:.0f} °C"


def _minute(at: AtMinute) -> list[str]:
    friction = f"{at.friction_percent:+.0f} ± {2 * at.u_friction_percent:.0f} %"
    lines = [_row(f"Minute {at.minute:.0f}", f"bell {_degrees(at)}, friction {friction}")]
    if at.lock_up_rpm is None or at.lock_up_change_rpm is None:
        lines.append(_row("", "it does not lock up any more on this engine curve"))
    else:
        change = signed_rpm(at.lock_up_change_rpm, at.u_lock_up_change_rpm)
        told = rpm_words(at.lock_up_rpm, at.u_lock_up_rpm)
        lines.append(_row("", f"lock-up {change}, to {told} rpm"))
    change = signed_rpm(at.bite_change_rpm, at.u_bite_change_rpm)
    lines.append(_row("", f"bite {change}, to {rpm_words(at.bite_rpm, at.u_bite_rpm)} rpm"))
    return lines


def _cooling(found: WarmthDesk) -> list[str]:
    used = sum(1 for g in found.gunned if g.reading is not None)
    by = (
        counted(used, "gun reading") if used else "no gun reading: keep one after a heat, --read 96"
    )
    left_out = [g for g in found.gunned if g.why_not]
    return [
        _row("Bell", f"loses {found.loss_w_k:.2f} W/K running, sure to {200 * found.u_loss:.0f} %"),
        _row("", f"standing, a third of its rise is left after {found.cools_in_minutes:.0f} min"),
        _row("", f"by {by}" if used else by),
        *(_row("", f"left out: {g.bell_c:.0f} °C, {g.why_not}") for g in left_out),
    ]


def _price(price: ShoePrice) -> str:
    faster = f"{abs(price.faster_percent):.0f} ± {2 * price.u_faster_percent:.0f} %"
    word = "faster" if price.faster_percent >= 0 else "slower"
    told = f"shoes wear {faster} {word}"
    if price.minutes_less is None or price.u_minutes_less is None:
        return f"{told}; their life left is not known yet"
    life = f"{abs(price.minutes_less):.0f} ± {2 * price.u_minutes_less:.0f} minutes"
    return f"{told}, {life} {'less' if price.minutes_less >= 0 else 'more'}"
