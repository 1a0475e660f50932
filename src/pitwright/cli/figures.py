"""Commands about what the card tells: its spring, torque figures and gears, and the air's part."""

from __future__ import annotations

import argparse

from pitwright.cli import numbers
from pitwright.cli.prepared import air_options, clutch_argument, given_air, prepared_clutch
from pitwright.cli.shared import CliError, Commands, answer, check_clutch, opened

__all__ = ["add"]


def add(commands: Commands) -> None:
    """Add this family's parsers."""
    gears = commands.add_parser(
        "gears", help="final drive, road speeds, the shift, which pairs fit"
    )
    clutch_argument(gears)
    gears.add_argument("--pinion", metavar="TEETH", type=_teeth, help="try this first pinion")
    gears.add_argument("--spur", metavar="TEETH", type=_teeth, help="try this first spur")
    gears.add_argument(
        "--second-pinion", metavar="TEETH", type=_teeth, help="try this second pinion"
    )
    gears.add_argument("--second-spur", metavar="TEETH", type=_teeth, help="try this second spur")
    gears.add_argument(
        "--tyre", metavar="MM", type=numbers.tyre_mm, help="try tyres worn to this diameter"
    )
    gears.set_defaults(run=_gears)

    air = commands.add_parser("air", help="air density and what it does to engine and lock-up")
    clutch_argument(air)
    air_options(air)
    air.set_defaults(run=_air)

    torques = commands.add_parser("torques", help="torque figures on the card beside their window")
    clutch_argument(torques)
    torques.set_defaults(run=_torques)

    spring = commands.add_parser("spring", help="the spring's rate, squeezed or from the card")
    clutch_argument(spring)
    spring.add_argument(
        "--squeeze",
        metavar="LENGTH=FORCE",
        nargs="+",
        type=_squeeze,
        default=[],
        help="lengths under load, such as 9.6=18 9.2=30 (mm and N), or 9.6=1.84kgf",
    )
    spring.set_defaults(run=_spring)


def _squeeze(text: str) -> tuple[float, float]:
    from pitwright.units import QuantityError, read_quantity

    length, sign, force = text.partition("=")
    if not sign:
        raise argparse.ArgumentTypeError(f"'{text}' is not a length, '=' and a force: 9.6=18")
    try:
        return read_quantity(length, "mm"), read_quantity(force, "N")
    except QuantityError as error:
        raise argparse.ArgumentTypeError(str(error)) from None


def _gears(arguments: argparse.Namespace) -> int:
    from pitwright.desk.bite.bite import bite_desk
    from pitwright.desk.clutch.gears import gear_desk, gear_lines

    with opened(arguments.folder) as session:
        prepared = prepared_clutch(session.weekend, arguments)
        now = bite_desk(prepared).now
        found = gear_desk(
            session.weekend,
            clutch=arguments.clutch,
            pinion=arguments.pinion,
            spur=arguments.spur,
            second_pinion=arguments.second_pinion,
            second_spur=arguments.second_spur,
            tyre_mm=arguments.tyre,
            bite_rpm=now.bite_rpm,
            lock_up_rpm=now.lock_up_rpm,
        )
    if arguments.json:
        answer(found)
    else:
        print("\n".join(gear_lines(found)))
    return 1 if found.unknown else 0


def _air(arguments: argparse.Namespace) -> int:
    from pitwright.desk.bite.bite import Tries, bite_desk
    from pitwright.desk.bite.words import signed_rpm
    from pitwright.desk.clutch.air import air_desk, air_lines, last_air

    given = given_air(arguments)
    with opened(arguments.folder) as session:
        prepared = prepared_clutch(session.weekend, arguments)
        read = given or last_air(session.weekend)
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
    from pitwright.desk.clutch.torques import torque_desk, torque_lines
    from pitwright.mechanics.threads import CAUTION

    with opened(arguments.folder) as session:
        check_clutch(session.weekend, arguments.clutch)
        found = torque_desk(session.weekend.card(arguments.clutch))
    if arguments.json:
        answer({"caution": CAUTION, "torques": found})
    else:
        print("\n".join(torque_lines(found)))
    return 0


def _spring(arguments: argparse.Namespace) -> int:
    from pitwright.desk.clutch.spring import spring_desk, spring_lines

    with opened(arguments.folder) as session:
        check_clutch(session.weekend, arguments.clutch)
        found = spring_desk(session.weekend, clutch=arguments.clutch, squeezes=arguments.squeeze)
    if arguments.json:
        answer(found)
    else:
        print("\n".join(spring_lines(found)))
    return 1 if found.refused else 0


def _teeth(text: str) -> int:
    """Read a number of teeth for argparse."""
    if not (text.isascii() and text.isdigit() and 8 <= int(text) <= 120):
        raise argparse.ArgumentTypeError("a whole number of teeth from 8 to 120")
    return int(text)
