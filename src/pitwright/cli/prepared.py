"""What several families of commands ask alike: which clutch, which air, and the clutch prepared."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from pitwright.cli import numbers
from pitwright.cli.shared import (
    CliError,
    check_clutch,
    clutch_option,
    folder_argument,
    json_option,
    moment,
)

if TYPE_CHECKING:
    from pitwright.desk.bite.bite import Prepared
    from pitwright.desk.clutch.air import AirRead
    from pitwright.weekend.weekend import Weekend

__all__ = ["air_options", "clutch_argument", "given_air", "prepared_clutch"]


def clutch_argument(parser: argparse.ArgumentParser) -> None:
    """Add the folder, the clutch and ``--json``."""
    folder_argument(parser)
    clutch_option(parser)
    json_option(parser)


def air_options(parser: argparse.ArgumentParser) -> None:
    """Add the air: temperature, pressure, humidity."""
    parser.add_argument("--air", metavar="C", type=numbers.degrees, help="air temperature, Celsius")
    parser.add_argument("--pressure", metavar="HPA", type=numbers.hpa, help="where the car runs")
    parser.add_argument("--humidity", metavar="PERCENT", type=numbers.humidity)


def given_air(arguments: argparse.Namespace) -> AirRead | None:
    """Return the air given on the command line, None for none.

    Raises CliError when only its pressure or humidity is given.
    """
    from pitwright.desk.clutch.air import AirRead

    if arguments.air is not None:
        return AirRead(arguments.air, arguments.pressure, arguments.humidity, "given")
    if arguments.pressure is not None or arguments.humidity is not None:
        raise CliError("--pressure and --humidity need --air beside them")
    return None


def prepared_clutch(weekend: Weekend, arguments: argparse.Namespace) -> Prepared:
    """Return the clutch asked for, ready for the mechanics, at the moment asked for."""
    from pitwright.desk.bite.bite import prepare

    check_clutch(weekend, arguments.clutch)
    at = getattr(arguments, "at", None)
    return prepare(
        weekend,
        clutch=arguments.clutch,
        like=getattr(arguments, "like", None),
        moment=moment(at, weekend.event.zone) if at else None,
        recess_mm=getattr(arguments, "recess", None),
    )
