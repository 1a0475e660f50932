"""Commands that look after folders: verify, merge two, migrate an old one, put a clock right."""

from __future__ import annotations

import argparse
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING

from pitwright.cli.shared import (
    CliError,
    Commands,
    answer,
    folder_argument,
    json_option,
    opened,
    refusals_told,
)

if TYPE_CHECKING:
    from collections.abc import Iterable

    from pitwright.store.merge import CardComparison, Merged
    from pitwright.weekend.problems import Problem

__all__ = ["add"]


def add(commands: Commands) -> None:
    """Add this family's parsers."""
    verify = commands.add_parser("verify", help="list everything wrong with a folder's files")
    folder_argument(verify)
    json_option(verify)
    verify.set_defaults(run=_verify)

    merge = commands.add_parser(
        "merge", help="copy into a weekend what another laptop's folder has and it has not"
    )
    folder_argument(merge)
    merge.add_argument("other", metavar="OTHER", type=Path, help="the folder to take from")
    merge.add_argument("--dry-run", action="store_true", help="only say what would be done")
    json_option(merge)
    merge.set_defaults(run=_merge)

    migrate = commands.add_parser(
        "migrate", help="copy a weekend of an older format into today's; the old one stays"
    )
    migrate.add_argument("old", metavar="OLD", type=Path, help="the old weekend's folder")
    migrate.add_argument("new", metavar="NEW", type=Path, help="where the copy goes")
    json_option(migrate)
    migrate.set_defaults(run=_migrate)

    shift = commands.add_parser(
        "shift-clock", help="shift records of a laptop whose clock was wrong"
    )
    folder_argument(shift)
    shift.add_argument("--laptop", metavar="NAME", help="whose clock (default: the only one)")
    shift.add_argument("--from", dest="first", metavar="N", default="", help="its first record")
    shift.add_argument("--to", dest="last", metavar="N", default="", help="its last record")
    shift.add_argument(
        "--minutes", metavar="MIN", required=True, help="such as -60; later is positive"
    )
    shift.add_argument("--reason", metavar="TEXT", default="", help="why")
    json_option(shift)
    shift.set_defaults(run=_shift)


def _verify(arguments: argparse.Namespace) -> int:
    from pitwright.store.check import check_folder
    from pitwright.store.laptop import laptop_name

    found = check_folder(arguments.folder, laptop_name())
    if arguments.json:
        answer({"problems": found.problems, "records": len(found.records)})
    else:
        print("\n".join([*_problem_lines(found.problems), *_count_line(found.problems)]), end="")
        print(f"{len(found.records)} records read")
    return 1 if _findings(found.problems) else 0


_AHEAD = {"error": "", "question": "asked: ", "warning": "note: "}


def _findings(problems: Iterable[Problem]) -> int:
    return sum(p.weight != "warning" for p in problems)


def _problem_lines(problems: Iterable[Problem]) -> list[str]:
    return [f"{_AHEAD[p.weight]}{p}" for p in problems]


def _count_line(problems: tuple[Problem, ...]) -> list[str]:
    from pitwright.desk.wording import counted

    many: Counter[str] = Counter(p.weight for p in problems)
    said = [
        counted(many[weight], word)
        for weight, word in (("error", "problem"), ("question", "question"), ("warning", "note"))
        if many[weight]
    ]
    if not _findings(problems):
        said.insert(0, "All in order")
    return [f"{', '.join(said)}; "]


def _merge(arguments: argparse.Namespace) -> int:
    from pitwright.store.files import StoreError
    from pitwright.store.merge import merge

    for place in (arguments.folder, arguments.other):
        if not place.is_dir():
            raise CliError(f"{place} is not a folder")
    if not (arguments.folder / "weekend.toml").is_file():
        raise CliError(f"{arguments.folder} holds no weekend")
    try:
        done = merge(arguments.folder, arguments.other, dry_run=arguments.dry_run)
    except StoreError as error:
        raise CliError(str(error)) from error
    if arguments.json:
        answer(done)
    else:
        print("\n".join(_merge_lines(done)))
    return 1 if done.left or _findings(done.problems) else 0


def _merge_lines(done: Merged) -> list[str]:
    would = "would be " if done.dry_run else ""
    records = [name for name in done.copied if name.startswith("log/")]
    others = [name for name in done.copied if not name.startswith("log/")]
    many = "1 record" if len(records) == 1 else f"{len(records)} records"
    lines = [f"{many} {would}copied; files that were here already: {done.already}"]
    lines += [f"{would}copied: {name}" for name in others]
    for name, spare in done.beside.items():
        right = name in done.put_right
        if name in done.replaced:
            why = "was put right after the one here" if right else "is fuller"
            said = f"the other one {why} and {would}taken; the one here {would}kept as {spare}"
        else:
            why = "was put right after the other one and " if right else ""
            said = f"the one here {why}stands; the other one {would}kept as {spare}"
        lines.append(f"{name} differs: {said}")
    lines += [f"left out: {name} {reason}" for name, reason in done.left.items()]
    lines += [_card_line(card) for card in done.cards]
    lines += _problem_lines(done.problems)
    if not done.dry_run:
        lines.append("".join(_count_line(done.problems)).removesuffix("; "))
    return lines


def _card_line(card: CardComparison) -> str:
    if card.result == "differs":
        shown = ", ".join(card.keys[:8])
        more = f" and {len(card.keys) - 8} more" if len(card.keys) > 8 else ""
        return f"{card.card} differs in {shown}{more}; yours stands as it was"
    words = {
        "same": "is the same",
        "comments differ": "says the same with other comments; yours stands as it was",
        "only here": "is only here",
        "only there": "is only in the other folder; copy it if it is wanted",
        "unreadable": "cannot be compared: one of the two is not valid TOML",
    }
    return f"{card.card} {words[card.result]}"


def _migrate(arguments: argparse.Namespace) -> int:
    from pitwright.store.files import StoreError
    from pitwright.store.migrate import migrate

    try:
        done = migrate(arguments.old, arguments.new)
    except StoreError as error:
        raise CliError(str(error)) from error
    if arguments.json:
        answer(done)
    else:
        print(
            f"{done.target} is a copy in today's format, from format {done.from_format}; "
            f"{len(done.changed)} files changed. {arguments.old} is as it was"
        )
        print("\n".join(_problem_lines(done.problems)), end="\n" if done.problems else "")
    return 1 if _findings(done.problems) else 0


def _shift(arguments: argparse.Namespace) -> int:
    from pitwright.desk.heats.clock_shift import plan_shift

    with opened(arguments.folder, write=True) as session:
        laptops = sorted({r.laptop for r in session.records})
        laptop = arguments.laptop or (laptops[0] if len(laptops) == 1 else "")
        values = {
            "laptop": laptop,
            "first": arguments.first,
            "last": arguments.last,
            "minutes": arguments.minutes,
            "reason": arguments.reason,
        }
        with refusals_told():
            plan = plan_shift(session.records, values, session.clock())
            landed = session.append(plan.record)
        if arguments.json:
            answer(landed)
        else:
            print(plan.words(session.weekend.event.zone))
    return 0
