"""Commands about the day: its sheet, the stock, and the data for other tools."""

from __future__ import annotations

import argparse
from datetime import date
from pathlib import Path

from pitwright.cli.shared import CliError, Commands, answer, folder_argument, json_option, opened

__all__ = ["add"]


def add(commands: Commands) -> None:
    """Add this family's parsers."""
    sheet = commands.add_parser("daysheet", help="the sheet of a day or of the weekend")
    folder_argument(sheet)
    sheet.add_argument(
        "--day", metavar="DATE", help="a day such as 2026-05-16, or 'all' (default: today)"
    )
    sheet.add_argument(
        "--format", choices=("text", "md", "html", "json"), default="text", help="default: text"
    )
    sheet.add_argument("--output", metavar="FILE", type=Path, help="write it there")
    sheet.set_defaults(run=_sheet)

    stock = commands.add_parser("stock", help="what is fitted, left, used up and to buy")
    folder_argument(stock)
    json_option(stock)
    stock.set_defaults(run=_stock)

    export = commands.add_parser(
        "export",
        help="the weekend as tables for other tools",
        description="One table for each kind of record, with readings, laps, build steps and the "
        "stock as tables of their own. Columns end in their unit; moments are UTC. In CSV a text "
        "that a spreadsheet could take for a formula gets a leading apostrophe, and so does one "
        "that begins with an apostrophe; SQLite and Parquet hold it as it was written.",
    )
    folder_argument(export)
    export.add_argument(
        "--to", metavar="DIR", type=Path, required=True, help="where to write CSV and SQLite"
    )
    export.add_argument("--parquet", action="store_true", help="Parquet as well")
    json_option(export)
    export.set_defaults(run=_export)


def _sheet(arguments: argparse.Namespace) -> int:
    from pitwright.cli.shared import json_text
    from pitwright.desk.sheet.day_sheet import day_sheet, default_day
    from pitwright.store.files import StoreError, replace_file

    with opened(arguments.folder) as session:
        now = session.clock()
        day = _day(arguments.day) if arguments.day else default_day(session.weekend, now)
        try:
            found = day_sheet(session.weekend, now, day, problems=session.problems)
        except ValueError as error:
            raise CliError(str(error)) from error
    if arguments.format == "json":
        made = json_text(found) + "\n"
    else:
        from pitwright.report.formats import formatted

        made = formatted(found, arguments.format)
    if arguments.output is None:
        print(made, end="")
        return 0
    try:
        replace_file(arguments.output, made.encode())
    except StoreError as error:
        raise CliError(error.strerror or str(error)) from error
    print(f"Written: {arguments.output}")
    return 0


def _day(text: str) -> date | None:
    if text.lower() == "all":
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise CliError(f"'{text}' is neither a date such as 2026-05-16 nor 'all'") from None


def _stock(arguments: argparse.Namespace) -> int:
    from pitwright.desk.stock.parts import stock_desk, stock_lines
    from pitwright.desk.stock.to_buy import to_buy

    with opened(arguments.folder) as session:
        found, buy = stock_desk(session.weekend), to_buy(session.weekend)
    if arguments.json:
        answer({"stock": found, "buy": buy})
        return 0
    print("\n".join(stock_lines(found)))
    if buy:
        print("\nTo buy, at least")
        for thing in buy:
            print(f"  {thing.count} x {thing.what}: {thing.why}")
    return 0


def _export(arguments: argparse.Namespace) -> int:
    from pitwright.desk.tables.tables import tables
    from pitwright.store.export import MissingLibraryError, export
    from pitwright.store.files import StoreError

    with opened(arguments.folder) as session:
        try:
            done = export(
                tables(session.weekend, session.records),
                arguments.to,
                weekend=arguments.folder,
                parquet=arguments.parquet,
            )
        except (StoreError, MissingLibraryError) as error:
            raise CliError(getattr(error, "strerror", None) or str(error)) from error
    if arguments.json:
        answer(done)
    else:
        print(f"{done.tables} tables, {done.rows} rows, {len(done.files)} files: {arguments.to}")
    return 0
