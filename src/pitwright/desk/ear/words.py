"""What was heard in a recording, in words: the same for the screen and the command line."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from pitwright.desk.bite.words import rpm_words, signed_rpm
from pitwright.desk.ear.against import Comparison, Expected, compare, was_held
from pitwright.desk.ear.ear import Take, apart

if TYPE_CHECKING:
    from pitwright.sound.listen import Hearing
    from pitwright.sound.takeup import Place

__all__ = [
    "PLACES",
    "cursor_words",
    "head_line",
    "hearing_notes",
    "kept_words",
    "message_line",
    "model_lines",
    "place_words",
    "take_lines",
    "take_rows",
]

PLACES: tuple[tuple[Place, str, str], ...] = (
    ("behind", "Driving away from the phone", "it sounds lower; that is put right"),
    ("abeam", "Passing right in front of the phone", "its sound is neither raised nor lowered"),
    ("standstill", "Standing still", "on the stand, or just about to move off"),
    ("anywhere", "Coming, going, or I do not know", "its speed makes the ± wider"),
)
"""Where the car was when it took up: key, label, and what that means."""

_PLACE_WORDS = {
    "abeam": "car passing in front",
    "standstill": "car standing still",
    "behind": "car driving away",
}
_MOVEMENT = "movement of the car"
_RICH_SHARE = 0.3
_UNHEARD = "no take-up heard"
APART = (
    "The take-ups of this recording differ by more than their doubt, so they are not put together: "
    "discard those that are none"
)


def place_words(place: Place, car_speed_m_s: float) -> str:
    """Return where the car was: ``car anywhere, up to 12 m/s``."""
    return _PLACE_WORDS.get(place, f"car anywhere, up to {car_speed_m_s:g} m/s")


def head_line(file: str, hearing: Hearing | None, where: str, place: str) -> str:
    """Return the file, its length, the clutch it is taken for, and where the car was."""
    parts = [file]
    if hearing is not None:
        parts.append(_length(hearing.duration_s))
    return "  ".join([*parts, where, place])


def _length(seconds: float) -> str:
    if seconds < 60:
        return f"{seconds:.1f} s"
    return f"{seconds // 60:.0f} min {seconds % 60:02.0f} s"


def _sure(take: Take) -> str:
    if take.speed is None:
        return ""
    if take.by_hand.startswith("typed"):
        return "typed"
    return f"{100 * take.speed.confidence:.0f} %"


def _state(take: Take) -> str:
    words = []
    if take.kept:
        words.append("kept")
    if take.discarded:
        words.append("discarded")
    if take.by_hand:
        words.append("by hand")
    return ", ".join(words)


def message_line(hearing: Hearing, take: Take | None) -> str:
    """Return the outcome in a sentence; where nothing was measured, what can be done."""
    if hearing.outcome == "measured":
        return f"{hearing.message[:1].upper()}{hearing.message[1:]}."
    line = f"Cannot hear a take-up: {hearing.message}."
    if take is not None and take.speed is not None:
        return line
    if hearing.outcome in ("no plateau", "no launch", "no engine"):
        line += " If the trace shows one, put the cursor there and press m, or type it with t."
    return line


def cursor_words(at_s: float, reading: tuple[float, float] | None) -> str:
    """Return where the cursor stands and what the trace says there."""
    if reading is None:
        return f"{at_s:.2f} s"
    rpm, confidence = reading
    return f"{at_s:.2f} s  {rpm_words(rpm)} rpm, {100 * confidence:.0f} % sure"


def kept_words(take: Take, heat: str | None) -> str:
    """Return what was kept, and of what."""
    assert take.speed is not None
    kind = "Creep" if take.how == "creep" else "Take-up"
    speed = rpm_words(take.speed.rpm, take.speed.u_rpm)
    return f"{kind} {speed} rpm kept for {heat or 'the clutch as it is now'}"


def take_rows(takes: Sequence[Take]) -> list[str]:
    """Return a row for each take: name, moment, speed with U, how sure, and what became of it."""
    names = max((len(t.name) for t in takes), default=0)
    parts = [
        rpm_words(t.speed.rpm, t.speed.u_rpm).split(" ± ") if t.speed is not None else None
        for t in takes
    ]
    left = max((len(p[0]) for p in parts if p is not None), default=0)
    right = max((len(p[1]) for p in parts if p is not None), default=0)
    speeds = [_UNHEARD if p is None else f"{p[0]:>{left}} ± {p[1]:<{right}}" for p in parts]
    width = max((len(s) for s in speeds), default=0)
    rows = []
    for take, speed in zip(takes, speeds, strict=True):
        at = take.start_s if take.speed is None else take.speed.start_s
        moment = "" if take.count > 1 else f"{at:.2f} s"
        row = f"{take.name:<{names}} {moment:>9}  {speed:<{width}}  {_sure(take):>5}"
        rows.append(f"{row}  {_state(take)}".rstrip())
    return rows


def take_lines(take: Take, model: Expected | None, takes: Sequence[Take] = ()) -> list[str]:
    """Return what is known of one take, and how it compares with the model.

    takes: all of the recording; where they contradict each other none is compared.
    """
    if take.speed is None:
        return [f"{take.name}: {take.reason}"]
    speed = take.speed
    lines = []
    if take.count > 1:
        lines.append(
            f"Median of {take.count} take-ups, {take.spread_rpm:.0f} rpm from lowest to highest"
        )
    elif speed.confidence > 0 and take.how == "plateau":
        stood = speed.end_s - speed.start_s
        lines.append(
            f"Stood {stood:.2f} s; {100 * speed.confidence:.0f} % sure that it is a take-up of "
            "this clutch"
        )
    elif speed.confidence > 0:
        lines.append(f"Creep at the mark, {100 * speed.confidence:.0f} % sure")
    if take.by_hand:
        lines.append(f"By hand: {take.by_hand}")
    largest = max(speed.parts, key=lambda part: part[1])
    if largest[0] == _MOVEMENT and largest[1] ** 2 > 0.5 * speed.u_rpm**2:
        lines.append("Most of the ± is the car's own movement: say where it was, if you know")
    if speed.every_second_turn and "doubled" not in take.by_hand:
        lines.append("It fired every second turn there (rich): the speed counts the turns")
    if speed.raised:
        lines.append(f"{speed.raised:.0f} rpm added: a car that drives away sounds lower")
    if apart(takes) and take.how == "plateau":
        lines.append(APART)
    elif model is not None:
        lines += model_lines(take, model)
    return lines


def model_lines(take: Take, model: Expected) -> list[str]:
    """Return the model's speed for the take's clutch, the difference, and what keeping it does."""
    if take.kept:
        return [f"Kept. The model of {model.where} is now calibrated on it, so no comparison"]
    if model.refused:
        return [f"Nothing to compare with: {model.refused}", *_scale_lines(take, model)]
    creep = take.how == "creep"
    known = model.creep_known if creep else model.plateau_known
    compared = compare(take, model)
    if compared is None:
        return [f"Nothing to compare with: {model.no_plateau}", *_scale_lines(take, model)]
    what = "creep" if creep else ("held at the grip" if compared.held else "full throttle")
    trust = "" if known else " (not calibrated)"
    lines = [
        f"Model, {model.where}, {what}: {rpm_words(compared.model_rpm, compared.u_model_rpm)} rpm"
        f"{trust}",
        f"Heard less model: {signed_rpm(compared.difference_rpm)} ± "
        f"{round(compared.expanded_rpm, -1):.0f} rpm, {compared.in_u:.1f} U: "
        + ("they agree" if compared.in_u <= 1 else "more than chance explains"),
        *_doubts(take, model, compared),
    ]
    if take.how in model.seen and not take.kept:
        kind = "creep" if creep else "take-up"
        lines.append(f"The model knows a {kind} of {model.where} already; this would be one more")
    return [*lines, *_scale_lines(take, model)]


def _doubts(take: Take, model: Expected, compared: Comparison) -> list[str]:
    lines = []
    if compared.half:
        assert take.speed is not None
        twice = rpm_words(2 * take.speed.rpm)
        lines.append(
            f"About half of the model's: a rich engine that skips firings reads half; ×2 is {twice}"
        )
    if compared.held:
        lines.append(
            "With spinning tyres it stands for 20 to 60 ms only; this stood longer, so the grip "
            f"held it. At full throttle it would be {rpm_words(model.plateau_rpm or 0.0)}"
        )
    elif take.how == "plateau" and model.wheelspin and model.held_rpm:
        lines.append(
            "The model says the tyres spin at full throttle; held at the grip it is "
            f"{rpm_words(model.held_rpm)}"
        )
    if compared.nearer_other and compared.held:
        lines.append("It lies nearer to full throttle: did the tyres hold after all?")
    elif compared.nearer_other:
        lines.append("It lies nearer to a launch held at the grip. Was the throttle wide open?")
    return lines


def _scale_lines(take: Take, model: Expected) -> list[str]:
    if take.how == "creep":
        return ["Keeping it sets the bite: creep is where the wheels just begin to turn"]
    how = "held at the grip" if was_held(take, model) else "at full throttle"
    lines = [f"A take-up {how}, not a bite: keeping it sets the take-up scale only"]
    if not model.creep_known:
        lines.append(
            "With no creep seen, the spring's side stays as the card has it (scale 1) and the "
            "take-up scale carries the whole difference"
        )
    return lines


def hearing_notes(hearing: Hearing) -> list[str]:
    """Return remarks on the file and on how the engine fires."""
    notes = [note[:1].upper() + note[1:] for note in hearing.notes]
    if hearing.every_second_share > _RICH_SHARE:
        notes.append(
            f"The engine fires every second turn for {100 * hearing.every_second_share:.0f} % of "
            "the time: it runs rich"
        )
    if hearing.claps_s:
        at = ", ".join(f"{clap:.2f}" for clap in hearing.claps_s[:5])
        notes.append(f"Clap heard at {at} s")
    return notes
