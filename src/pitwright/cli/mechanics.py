"""Commands about the mechanics: bite, launch, shims, gears, air, and speeds seen."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from pitwright.cli.shared import (
    CliError,
    Commands,
    answer,
    check_clutch,
    folder_argument,
    json_option,
    moment,
    opened,
    rpm,
)

if TYPE_CHECKING:
    from pitwright.desk.bite import Prepared
    from pitwright.weekend.weekend import Weekend

__all__ = ["add"]


def add(commands: Commands) -> None:
    """Add this family's parsers."""
    bite = commands.add_parser("bite", help="where the clutch bites, lets go and locks up")
    _common(bite)
    bite.add_argument("--like", metavar="HEAT", help="the heat to compare with (default: the last)")
    bite.add_argument("--recess", metavar="MM", type=_mm, help="try this nut recess")
    bite.add_argument("--free-length", metavar="MM", type=_mm, help="try this free length")
    bite.add_argument("--worn", metavar="MM", type=_mm, help="try this much wear off each shoe")
    bite.add_argument("--hot", action="store_true", help="try the spring at running temperature")
    _air_options(bite)
    bite.add_argument("--at", metavar="TIME", help="a moment, such as 2026-05-16T14:30")
    bite.set_defaults(run=_bite)

    launch = commands.add_parser("launch", help="one launch: time, heat, and what the tyres carry")
    _common(launch)
    launch.add_argument("--from", dest="start", metavar="RPM", type=rpm, help="default: idle")
    launch.set_defaults(run=_launch)

    shims = commands.add_parser("shims", help="the tin, the end play and the best shim stacks")
    _common(shims)
    shims.add_argument(
        "--measured", metavar="MM", type=_mm, help="end play with the shims that are in now"
    )
    shims.add_argument("--keep", metavar="N", type=_few, default=5, help="answers (default: 5)")
    shims.set_defaults(run=_shims)

    gears = commands.add_parser("gears", help="final drive, road speeds, engine shift per tooth")
    _common(gears)
    gears.add_argument("--pinion", metavar="TEETH", type=int, help="try this first pinion")
    gears.add_argument("--spur", metavar="TEETH", type=int, help="try this first spur")
    gears.set_defaults(run=_gears)

    air = commands.add_parser("air", help="air density and what it does to engine and lock-up")
    _common(air)
    _air_options(air)
    air.set_defaults(run=_air)

    torques = commands.add_parser("torques", help="torque figures on the card beside their window")
    _common(torques)
    torques.set_defaults(run=_torques)

    observe = commands.add_parser("observe", help="record a creep or take-up speed seen on the car")
    folder_argument(observe)
    observe.add_argument(
        "how",
        choices=("creep", "plateau"),
        help="creep: the wheels just turn; plateau: the steady speed while it slips",
    )
    observe.add_argument("rpm", metavar="RPM", type=rpm)
    observe.add_argument(
        "--plus-minus", metavar="RPM", type=_rpm_spread, help="how far off it may be"
    )
    observe.add_argument(
        "--by",
        choices=("tachometer", "recording", "by ear"),
        default="tachometer",
        help="default: tachometer",
    )
    observe.add_argument("--heat", metavar="HEAT", help="the heat it was seen in")
    observe.add_argument("--note", default="")
    observe.add_argument("--clutch", metavar="NAME", help="which clutch, when there are several")
    json_option(observe)
    observe.set_defaults(run=_observe)


def _common(parser: argparse.ArgumentParser) -> None:
    folder_argument(parser)
    parser.add_argument("--clutch", metavar="NAME", help="which clutch, when there are several")
    json_option(parser)


def _air_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--air", metavar="C", type=_degrees, help="air temperature, Celsius")
    parser.add_argument("--pressure", metavar="HPA", type=_hpa, help="where the car runs")
    parser.add_argument("--humidity", metavar="PERCENT", type=_percent)


def _number(text: str, low: float, high: float, unit: str) -> float:
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        raise argparse.ArgumentTypeError(f"'{text}' is not a number") from None
    if not low <= value <= high:
        raise argparse.ArgumentTypeError(f"must be between {low:g} and {high:g} {unit}")
    return value


def _mm(text: str) -> float:
    from pitwright.units import QuantityError, read_quantity

    try:
        value = read_quantity(text, "mm")
    except QuantityError as error:
        raise argparse.ArgumentTypeError(str(error)) from None
    return _number(str(value), 0, 50, "mm")


def _degrees(text: str) -> float:
    return _number(text, -10, 50, "degrees Celsius")


def _hpa(text: str) -> float:
    return _number(text, 600, 1100, "hPa")


def _percent(text: str) -> float:
    return _number(text, 0, 100, "per cent")


def _rpm_spread(text: str) -> float:
    return _number(text, 1, 5000, "rpm")


def _few(text: str) -> int:
    value = _number(text, 1, 50, "answers")
    if value != int(value):
        raise argparse.ArgumentTypeError("must be a whole number")
    return int(value)


def _prepared(weekend: Weekend, arguments: argparse.Namespace) -> Prepared:
    from pitwright.desk.bite import prepare

    check_clutch(weekend, arguments.clutch)
    at = getattr(arguments, "at", None)
    return prepare(
        weekend,
        clutch=arguments.clutch,
        like=getattr(arguments, "like", None),
        moment=moment(at, weekend.event.zone) if at else None,
        recess_mm=getattr(arguments, "recess", None),
    )


def _bite(arguments: argparse.Namespace) -> int:
    from pitwright.desk.air import AirRead
    from pitwright.desk.bite import Tries, bite_desk
    from pitwright.desk.bite_words import bite_lines

    if arguments.air is None and (arguments.pressure is not None or arguments.humidity is not None):
        raise CliError("--pressure and --humidity need --air beside them")
    with opened(arguments.folder) as session:
        prepared = _prepared(session.weekend, arguments)
    air = None
    if arguments.air is not None:
        air = AirRead(arguments.air, arguments.pressure, arguments.humidity, "given")
    found = bite_desk(
        prepared,
        Tries(arguments.recess, arguments.free_length, arguments.worn, arguments.hot, air),
    )
    if arguments.json:
        answer(found)
    else:
        print("\n".join(bite_lines(found)))
    return 1 if found.tried.refused or (arguments.like and found.like is None) else 0


def _launch(arguments: argparse.Namespace) -> int:
    from pitwright.desk.launch import launch_desk, launch_lines

    with opened(arguments.folder) as session:
        found = launch_desk(_prepared(session.weekend, arguments), arguments.start)
    if arguments.json:
        answer(found)
    else:
        print("\n".join(launch_lines(found)))
    return 1 if found.unknown or found.full is None else 0


def _shims(arguments: argparse.Namespace) -> int:
    from pitwright.desk.shim_words import shim_lines
    from pitwright.desk.shims import shim_desk

    with opened(arguments.folder) as session:
        check_clutch(session.weekend, arguments.clutch)
        found = shim_desk(
            session.weekend,
            clutch=arguments.clutch,
            measured_mm=arguments.measured,
            keep=arguments.keep,
        )
    if arguments.json:
        answer(found)
    else:
        print("\n".join(shim_lines(found)))
    return 1 if found.unknown else 0


def _gears(arguments: argparse.Namespace) -> int:
    from pitwright.desk.bite import bite_desk
    from pitwright.desk.gears import gear_desk, gear_lines

    with opened(arguments.folder) as session:
        prepared = _prepared(session.weekend, arguments)
        now = bite_desk(prepared).now
        speeds = tuple(
            (label, speed)
            for label, speed in (("At the bite", now.bite_rpm), ("At lock-up", now.lock_up_rpm))
            if speed is not None
        )
        found = gear_desk(
            session.weekend,
            clutch=arguments.clutch,
            pinion=arguments.pinion,
            spur=arguments.spur,
            engine_speeds=speeds,
        )
    if arguments.json:
        answer(found)
    else:
        print("\n".join(gear_lines(found)))
    return 1 if found.unknown else 0


def _air(arguments: argparse.Namespace) -> int:
    from pitwright.desk.air import AirRead, air_desk, air_lines, last_air
    from pitwright.desk.bite import Tries, bite_desk
    from pitwright.desk.bite_words import signed_rpm

    with opened(arguments.folder) as session:
        prepared = _prepared(session.weekend, arguments)
        read = last_air(session.weekend)
    if arguments.air is not None:
        read = AirRead(arguments.air, arguments.pressure, arguments.humidity, "given")
    elif arguments.pressure is not None or arguments.humidity is not None:
        raise CliError("--pressure and --humidity need --air beside them")
    if read is None:
        raise CliError("no heat has its air noted yet; give --air, --pressure and --humidity")
    found, moved = air_desk(read), bite_desk(prepared, Tries(air=read)).lock_up_by_air_rpm
    if arguments.json:
        answer({"air": found, "lock_up_rpm": moved})
    else:
        print("\n".join(air_lines(found)))
        if moved is not None:
            print(f"  Lock-up moves   {signed_rpm(moved)} rpm at most")
    return 1 if found.refused else 0


def _torques(arguments: argparse.Namespace) -> int:
    from pitwright.desk.threads import torque_desk, torque_lines
    from pitwright.mechanics.threads import CAUTION

    with opened(arguments.folder) as session:
        check_clutch(session.weekend, arguments.clutch)
        found = torque_desk(session.weekend.card(arguments.clutch))
    if arguments.json:
        answer({"caution": CAUTION, "torques": found})
    else:
        print("\n".join(torque_lines(found)))
    return 0


def _observe(arguments: argparse.Namespace) -> int:
    from pydantic import ValidationError

    from pitwright.desk.bite import bite_desk
    from pitwright.desk.bite_words import observation_lines, trust_line
    from pitwright.desk.observed import observation_record
    from pitwright.store.files import StoreError

    with opened(arguments.folder, write=True) as session:
        weekend = session.weekend
        check_clutch(weekend, arguments.clutch)
        heat = None
        if arguments.heat is not None:
            try:
                heat = weekend.heat(arguments.heat).run.heat
            except KeyError:
                raise CliError(f"there is no heat '{arguments.heat}' in the log") from None
        try:
            record = observation_record(
                arguments.how,
                arguments.rpm,
                now=session.clock(),
                clutch=weekend.card(arguments.clutch).id,
                source=arguments.by,
                # A limit on both sides is taken as twice the standard uncertainty.
                u_rpm=None if arguments.plus_minus is None else arguments.plus_minus / 2,
                heat=heat,
                note=arguments.note,
            )
        except ValidationError as error:  # a note with control signs, say
            first = error.errors()[0]
            where = ".".join(str(part) for part in first["loc"])
            raise CliError(f"cannot be recorded, {where}: {first['msg']}") from error
        try:
            landed = session.append(record)
        except StoreError as error:
            raise CliError(error.strerror or str(error)) from error
        prepared = _prepared(session.weekend, arguments)
    found = bite_desk(prepared)
    if arguments.json:
        answer({"record": landed.id, "bite": found})
    else:
        print("\n".join([trust_line(found), *observation_lines(found.observations)]))
    return 0
