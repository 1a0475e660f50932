"""The command that takes a reading and says what it proves."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING

from pitwright.cli.shared import (
    CliError,
    Commands,
    answer,
    clutch_option,
    folder_argument,
    json_option,
    opened,
)

if TYPE_CHECKING:
    from pitwright.desk.measure.bench import Bench
    from pitwright.desk.measure.judged import Judged

__all__ = ["add"]


def add(commands: Commands) -> None:
    """Add this family's parsers."""
    measure = commands.add_parser(
        "measure",
        help="keep a reading and say whether it is good, too close to call, or out",
        description="Keep a reading as a check. The exit status is 1 when it is out of limits.",
    )
    folder_argument(measure)
    measure.add_argument(
        "quantity", metavar="QUANTITY", help="such as free_length; part of its name will do"
    )
    measure.add_argument(
        "values", metavar="VALUE", nargs="+", help='one reading or more: 10.15, 10,15 or "0.4 in"'
    )
    measure.add_argument("--part", metavar="PART", help="which part (default: the fitted one)")
    measure.add_argument(
        "--instrument", metavar="TOOL", help="which tool of the card (default: as last time)"
    )
    measure.add_argument(
        "--squeezes",
        metavar="N",
        type=int,
        choices=range(51),
        help="how often the spring was squeezed before",
    )
    measure.add_argument(
        "--part-temperature",
        metavar="C",
        help="how warm the part is, in degrees C: its size is then given at 20 C",
    )
    clutch_option(measure)
    measure.add_argument(
        "--accept-slip", action="store_true", help="keep it although it looks like a slip"
    )
    measure.add_argument("--dry-run", action="store_true", help="only judge it, keep nothing")
    json_option(measure)
    measure.set_defaults(run=_measure)


def _measure(arguments: argparse.Namespace) -> int:
    from datetime import UTC, datetime

    from pitwright.desk.measure.bench import gather
    from pitwright.desk.measure.gap_line import gap_line
    from pitwright.desk.measure.gauging import read_part_c
    from pitwright.desk.measure.judging import judge_on
    from pitwright.desk.measure.measure import check_record
    from pitwright.desk.measure.words import to_reckon_with
    from pitwright.store.files import StoreError

    now = datetime.now(UTC)
    with opened(arguments.folder, write=not arguments.dry_run) as session:
        weekend = session.weekend
        if arguments.clutch is not None and arguments.clutch not in weekend.clutches:
            raise CliError(f"there is no clutch '{arguments.clutch}' in this weekend")
        part_c = None
        if arguments.part_temperature is not None:
            try:
                part_c = read_part_c(arguments.part_temperature)
            except ValueError as error:
                raise CliError(f"--part-temperature: {error}") from error
        bench = gather(weekend, now, arguments.clutch, part_c=part_c)
        quantity = _quantity(bench, arguments.quantity)
        judged = judge_on(
            bench,
            quantity,
            " ".join(arguments.values),
            part=_part(bench, quantity, arguments.part),
            instrument=_tool(bench, arguments.instrument),
            final=True,
        )
        if judged.reading is None:
            asked = f" ({judged.slip.question})" if judged.slip is not None else ""
            raise CliError(f"{judged.label}: {judged.reason or 'nothing was given'}{asked}")
        doubt = judged.slip is not None and not arguments.accept_slip
        kept = None
        if not doubt and not arguments.dry_run:
            squeezes = {} if arguments.squeezes is None else {quantity: arguments.squeezes}
            try:
                record = check_record([judged], now=now, clutch=bench.card.id, squeezes=squeezes)
                kept = session.append(record).id
            except (ValueError, StoreError) as error:
                raise CliError(str(error)) from error
    # As on the screen: no verdict on a number that is probably not the one that was read.
    doubted = judged.slip is not None and judged.slip.explained and not arguments.accept_slip
    usable = None if doubted else to_reckon_with(judged)
    gap = gap_line(weekend, bench.card.id, quantity, usable)
    _tell(judged, kept, gap, doubted=doubted, as_json=arguments.json)
    if doubt and not arguments.dry_run:
        # told on stderr as well, since nothing was kept and a script must not miss it
        slip = judged.slip
        sure = slip is None or slip.explained or slip.stays
        again = "" if sure else "give a second reading, or "
        print(f"Not kept. If it is right, {again}say so with --accept-slip", file=sys.stderr)
        return 2
    return 1 if judged.word == "out" else 0


def _tell(judged: Judged, kept: str | None, gap: str, *, doubted: bool, as_json: bool) -> None:
    if as_json:
        answer(
            {
                "quantity": judged.quantity,
                "part": judged.part,
                "instrument": judged.instrument,
                "value_mm": judged.value_mm,
                "u_mm": judged.u_mm,
                "k": judged.reading.k if judged.reading is not None else None,
                "shown": judged.size,
                "bound": judged.reading.bound if judged.reading is not None else None,
                "part_c": judged.reading.part_c if judged.reading is not None else None,
                "verdict": None if doubted else judged.word,
                "rule": judged.rule,
                "distance": "" if doubted else judged.distance,
                "p_conform": None if doubted else judged.p_conform,
                "advice": "" if doubted else judged.advice,
                "settle": "" if doubted else judged.settle,
                "slip": judged.slip.question if judged.slip is not None else None,
                "notes": judged.notes,
                "gap": gap or None,
                "record": kept,
            }
        )
        return
    word = f", {judged.word}" if judged.word is not None and not doubted else ""
    print(f"{judged.label}: {judged.size}{word}")
    told = (gap,) if doubted else (judged.told(), *judged.notes, judged.rule_words, gap)
    for line in told:
        if line:
            print(f"  {line[:1].upper()}{line[1:]}")
    if judged.slip is not None:
        print(f"  {judged.slip.question}")
    if kept is not None:
        print(f"Kept as {kept}")


def _quantity(bench: Bench, asked: str) -> str:
    known = bench.card.quantities
    if asked in known:
        return asked
    wanted = asked.lower().replace("-", " ").replace("_", " ")
    found = [
        key
        for key, spec in known.items()
        if wanted in key.replace("_", " ").lower() or wanted in spec.label.lower()
    ]
    if len(found) == 1:
        return found[0]
    which = "could be " + " or ".join(found) if found else "is not on the card"
    raise CliError(f"'{asked}' {which}; the card has {', '.join(known)}")


def _part(bench: Bench, quantity: str, asked: str | None) -> str | None:
    choices = bench.parts(quantity)
    owned = ", ".join(p.part for p in choices) or "none"
    if asked is None:
        if choices and bench.fitted_part(quantity) is None:
            raise CliError(f"no {bench.place(quantity)} is fitted: name one with --part ({owned})")
        return None
    if not choices:
        raise CliError(f"{quantity} is measured on the clutch; leave --part out")
    for choice in choices:
        if choice.part.lower() == asked.lower():
            return choice.part
    raise CliError(f"there is no {bench.place(quantity)} '{asked}' in the stock ({owned})")


def _tool(bench: Bench, asked: str | None) -> str | None:
    if asked is None or asked in bench.tools:
        return asked
    raise CliError(f"'{asked}' is not on the card; it has {', '.join(bench.tools)}")
