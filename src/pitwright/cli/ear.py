"""The command that measures the take-up speed from a recording."""

from __future__ import annotations

import argparse
import sys
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pitwright.cli.numbers import metres_per_second
from pitwright.cli.shared import CliError, Commands, answer, clutch_option, json_option, opened
from pitwright.desk.cautions import CREEP_CAUTION

if TYPE_CHECKING:
    from collections.abc import Callable

    from pitwright.desk.ear.against import Expected
    from pitwright.desk.ear.ear import Take
    from pitwright.sound.listen import Hearing
    from pitwright.sound.takeup import Place
    from pitwright.store.session import Session

__all__ = ["add"]

_LONG_S = 20.0


def add(commands: Commands) -> None:
    """Add this family's parsers."""
    ear = commands.add_parser(
        "ear",
        help="measure the take-up speed from a sound recording",
        description=(
            "Measure the engine speed at which the clutch takes up, from a recording of a launch. "
            "WAV is read as it is; m4a, mp3, ogg and the like need the extra: "
            "pip install 'pitwright[sound]'. The exit status is 0 when a speed was measured, 1 "
            "when none could be heard, 2 when the file cannot be read or a speed far from the "
            "last one seen was not kept."
        ),
    )
    ear.add_argument("file", metavar="FILE", type=Path, help="the recording")
    ear.add_argument(
        "--folder", metavar="FOLDER", type=Path, help="the weekend, to compare with its model"
    )
    ear.add_argument("--heat", metavar="HEAT", help="the heat it was recorded in")
    clutch_option(ear)
    ear.add_argument(
        "--place",
        choices=("standstill", "abeam", "behind", "anywhere"),
        help="where the car was: standing still, passing right in front, driving away from the "
        "microphone, or not known "
        "(default: anywhere; for creep standstill)",
    )
    ear.add_argument(
        "--speed",
        metavar="M_PER_S",
        type=metres_per_second,
        help="how fast the car can have been (default: 12; for creep 1)",
    )
    ear.add_argument(
        "--creep-at",
        metavar="SECONDS",
        type=float,
        help=f"measure the creep speed at this moment of a slow ramp instead. {CREEP_CAUTION}",
    )
    ear.add_argument(
        "--keep",
        action="store_true",
        help="keep it as an observation (several launches: their median); needs --folder",
    )
    ear.add_argument("--accept-slip", action="store_true", help="keep it although it is doubtful")
    json_option(ear)
    ear.set_defaults(run=_ear)


def _ear(arguments: argparse.Namespace) -> int:
    if arguments.folder is None and (arguments.keep or arguments.heat or arguments.clutch):
        raise CliError("--keep, --heat and --clutch need the weekend: --folder FOLDER")
    with ExitStack() as stack:
        session = None
        if arguments.folder is not None:
            session = stack.enter_context(opened(arguments.folder, write=arguments.keep))
        model = _model(arguments, session)
        hearing = _listen(arguments, model)
        takes, chosen, no_creep = _takes(arguments, hearing)
        kept, doubt = None, ""
        if arguments.keep and session is not None and chosen is not None and chosen.speed:
            assert model is not None
            kept, doubt = _keep(arguments, session, chosen, takes, model)
        _tell(arguments, hearing, takes, chosen, model, no_creep, kept, doubt)
    if doubt:
        raise CliError(f"{doubt}. Not kept; if it is right, say so with --accept-slip")
    return 0 if chosen is not None and chosen.speed is not None else 1


def _model(arguments: argparse.Namespace, session: Session | None) -> Expected | None:
    from pitwright.cli.shared import check_clutch
    from pitwright.desk.ear.against import UnknownHeatError, expected

    if session is None:
        return None
    check_clutch(session.weekend, arguments.clutch)
    try:
        model = expected(session.weekend, arguments.heat, arguments.clutch)
    except UnknownHeatError as error:
        raise CliError(str(error)) from error
    if arguments.clutch not in (None, model.clutch):
        raise CliError(f"{model.heat} was run on clutch {model.clutch}")
    return model


def _listen(arguments: argparse.Namespace, model: Expected | None) -> Hearing:
    from pitwright.desk.ear.against import launch_shape
    from pitwright.sound.listen import listen
    from pitwright.sound.read_audio import AudioError, open_recording

    try:
        recording = open_recording(arguments.file)
        return listen(
            recording,
            place=arguments.place or "anywhere",
            car_speed_m_s=12.0 if arguments.speed is None else arguments.speed,
            pull_m_s_2=None if model is None else model.pull_m_s_2,
            shape=None if model is None else launch_shape(model),
            progress=_progress(recording.duration_s),
        )
    except AudioError as error:
        raise CliError(str(error)) from error
    except OSError as error:
        raise CliError(f"{arguments.file}: {error.strerror or error}") from error
    finally:
        if sys.stderr.isatty():
            sys.stderr.write("\r\x1b[K")


def _progress(duration_s: float | None) -> Callable[[float, float | None], None] | None:
    if not sys.stderr.isatty() or (duration_s is not None and duration_s < _LONG_S):
        return None

    def show(done_s: float, of_s: float | None) -> None:
        part = f" of {of_s:.0f}" if of_s else ""
        sys.stderr.write(f"\rlistening: {done_s:.0f}{part} s")
        sys.stderr.flush()

    return show


def _takes(arguments: argparse.Namespace, hearing: Hearing) -> tuple[list[Take], Take | None, str]:
    """Return all takes, the one that answers, and why a creep could not be read."""
    from pitwright.desk.ear.ear import CREEPING_M_S, creep_take, pooled, take_ups
    from pitwright.sound.takeup import NoCreepError

    takes = list(take_ups(hearing))
    if arguments.creep_at is not None:
        try:
            creep = creep_take(
                hearing,
                arguments.creep_at,
                place=arguments.place or "standstill",
                car_speed_m_s=CREEPING_M_S if arguments.speed is None else arguments.speed,
            )
        except NoCreepError as error:
            return takes, None, str(error)
        return [creep], creep, ""
    together = pooled(takes)
    if together is not None:
        return [*takes, together], together, ""
    return takes, next((t for t in takes if t.speed is not None), None), ""


def _keep(
    arguments: argparse.Namespace,
    session: Session,
    take: Take,
    takes: list[Take],
    model: Expected,
) -> tuple[str | None, str]:
    """Return the name of the record that was kept, or the doubt for which none was."""
    from datetime import UTC, datetime

    from pydantic import ValidationError

    from pitwright.desk.bite.doubt import observation_doubt
    from pitwright.desk.ear.against import was_held
    from pitwright.desk.ear.ear import ear_draft, keep_doubt
    from pitwright.store.files import StoreError

    try:
        draft = ear_draft(
            take,
            now=datetime.now(UTC),
            clutch=model.clutch,
            heat=model.heat,
            file=arguments.file.name,
            held_at_grip=was_held(take, model),
        )
        doubt = keep_doubt(take, takes) or observation_doubt(session.weekend, draft)
        if doubt and not arguments.accept_slip:
            return None, doubt
        return session.append(draft).id, ""
    except (ValidationError, StoreError) as error:
        raise CliError(str(error)) from error


def _tell(
    arguments: argparse.Namespace,
    hearing: Hearing,
    takes: list[Take],
    chosen: Take | None,
    model: Expected | None,
    no_creep: str,
    kept: str | None,
    doubt: str,
) -> None:
    from pitwright.desk.ear.words import hearing_notes, place_words, take_lines, take_rows

    place: Place = arguments.place or ("anywhere" if arguments.creep_at is None else "standstill")
    speed = arguments.speed
    if speed is None:
        speed = 12.0 if arguments.creep_at is None else 1.0
    if arguments.json:
        answer(_plain(hearing, takes, chosen, model, no_creep, kept, doubt, place))
        return
    print(f"{arguments.file.name}: {hearing.duration_s:.1f} s, {place_words(place, speed)}")
    if arguments.creep_at is not None:
        message = f"creep: {no_creep}" if no_creep else ""
    else:
        message = hearing.message
    if message:
        print(f"{message[:1].upper()}{message[1:]}")
    for row in take_rows(takes) if arguments.creep_at is None else []:
        print(f"  {row}")
    for line in take_lines(chosen, model, takes) if chosen is not None else []:
        print(f"  {line}")
    for take in takes:
        if take.speed is None and len(takes) > 1:
            print(f"  {take.name}: {take.reason}")
    for note in hearing_notes(hearing):
        print(f"  Note: {note}")
    if kept is not None:
        print(f"Kept as {kept}")
    elif arguments.keep and not doubt:
        print("Nothing kept: no speed was measured", file=sys.stderr)


def _plain(
    hearing: Hearing,
    takes: list[Take],
    chosen: Take | None,
    model: Expected | None,
    no_creep: str,
    kept: str | None,
    doubt: str,
    place: str,
) -> dict[str, Any]:
    from dataclasses import asdict

    from pitwright.desk.ear.against import compare

    compared = compare(chosen, model) if chosen is not None and model is not None else None
    return {
        "outcome": hearing.outcome,
        "message": no_creep or hearing.message,
        "duration_s": round(hearing.duration_s, 3),
        "place": place,
        "launches": [_take(t) for t in takes if t.count == 1 and t.how == "plateau"],
        "answer": None if chosen is None else _take(chosen),
        "events": [asdict(event) for event in hearing.events],
        "claps_s": hearing.claps_s,
        "every_second_share": round(hearing.every_second_share, 3),
        "notes": hearing.notes,
        "model": None if model is None else {**asdict(model), "seen": sorted(model.seen)},
        "difference": None if compared is None else {**asdict(compared), "in_u": compared.in_u},
        "record": kept,
        "doubt": doubt or None,
    }


def _take(take: Take) -> dict[str, Any]:
    speed = take.speed
    found: dict[str, Any] = {
        "name": take.name,
        "how": take.how,
        "start_s": take.start_s,
        "end_s": take.end_s,
        "reason": take.reason or None,
        "rpm": None,
    }
    if speed is not None:
        found |= {
            "rpm": speed.rpm,
            "u_rpm": speed.u_rpm,
            "k2_rpm": speed.expanded_rpm,
            "parts_rpm": dict(speed.parts),
            "from_s": speed.start_s,
            "to_s": speed.end_s,
            "confidence": speed.confidence,
            "every_second_turn": speed.every_second_turn,
        }
    if take.count > 1:
        found |= {"count": take.count, "spread_rpm": take.spread_rpm}
    return found
