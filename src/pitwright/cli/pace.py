"""Commands about laps: bring them in, the pace of heats, and which clutch state was quicker."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pitwright.cli.shared import CliError, Commands, answer, folder_argument, json_option, opened

if TYPE_CHECKING:
    from pitwright.desk.pace.compare import Comparing
    from pitwright.desk.pace.pace import PaceHeat
    from pitwright.desk.pace.rule import PaceRule
    from pitwright.inference.pace import HeatPace
    from pitwright.weekend.weekend import Weekend

__all__ = ["add"]

_KINDS = {"lap": "lap times", "passing": "passing times"}
_RULE = (
    ("--stop", "stop", "X", "a lap over X times the heat's median is a stop (1.5)"),
    ("--mistake-percent", "percent", "P", "a mistake is P %% over the median (3) ..."),
    ("--mistake-spreads", "spreads", "N", "... and N spreads over it (4)"),
    ("--short", "short", "X", "a lap under X times the median was cut or counted twice (0.7)"),
    ("--opening", "opening", "N", "how many opening laps are judged apart (2)"),
)
_TAKEN = (
    ("--best", "best_n", "N", "mean of the best N laps (5)"),
    ("--in-a-row", "run_n", "N", "best N laps one after the other (3)"),
)


def add(commands: Commands) -> None:
    """Add this family's parsers."""
    laps = commands.add_parser("laps", help="bring in the laps of a heat")
    folder_argument(laps)
    laps.add_argument("heat", metavar="HEAT", help="the heat, such as Q2")
    laps.add_argument("file", metavar="FILE", help="a file of laps, - for standard input")
    laps.add_argument(
        "--which",
        "--driver",
        dest="which",
        metavar="NAME",
        help="whose laps, or of which heat or column, when the file has several",
    )
    laps.add_argument("--kind", choices=_KINDS, help="what the times are, when it is guessed wrong")
    laps.add_argument("--replace", action="store_true", help="replace laps kept before")
    laps.add_argument("--dry-run", action="store_true", help="keep nothing")
    json_option(laps)
    laps.set_defaults(run=_laps)

    pace = commands.add_parser("pace", help="the pace of heats")
    folder_argument(pace)
    pace.add_argument(
        "heats",
        metavar="HEAT",
        nargs="*",
        help="which heats (default: all but warm-ups, run-ins and heats stopped early)",
    )
    _rule_options(pace, (*_RULE, *_TAKEN))
    json_option(pace)
    pace.set_defaults(run=_pace)

    compare = commands.add_parser(
        "compare",
        help="which clutch state was quicker",
        description="Compare two states, or every pair when A and B are left out. A and B are "
        "names of springs, shoe sets or builds, recesses in mm, or lists of heats: Q1,Q3 Q2,Q4.",
    )
    folder_argument(compare)
    compare.add_argument("a", metavar="A", nargs="?", help="the state to compare with")
    compare.add_argument("b", metavar="B", nargs="?", help="the state compared with it")
    compare.add_argument(
        "--by",
        choices=("spring", "recess", "shoes", "build", "bite", "heats"),
        help="what makes two heats the same clutch (default: found from A and B, else spring)",
    )
    compare.add_argument(
        "--figure", choices=("pace", "opening", "scatter"), default="pace", help="what is compared"
    )
    compare.add_argument("--pairs", action="store_true", help="every pair rather than a slope")
    compare.add_argument(
        "--also", metavar="HEAT", nargs="+", default=[], help="warm-ups and the like to count too"
    )
    _rule_options(compare, _RULE)
    json_option(compare)
    compare.set_defaults(run=_compare)


def _rule_options(parser: argparse.ArgumentParser, options: Sequence[tuple[str, ...]]) -> None:
    for option, field, metavar, words in options:
        parser.add_argument(option, dest=f"rule_{field}", metavar=metavar, help=words)


def _rule(arguments: argparse.Namespace) -> PaceRule:
    from pitwright.desk.form_text import FormError
    from pitwright.desk.pace.rule import read_rule

    fields = [field for _option, field, _metavar, _words in (*_RULE, *_TAKEN)]
    values = {field: getattr(arguments, f"rule_{field}", None) or "" for field in fields}
    try:
        return read_rule(values)
    except FormError as error:
        raise CliError(error.first[1]) from error


# Laps


def _laps(arguments: argparse.Namespace) -> int:
    from pitwright.desk.pace.lap_preview import heat_for_laps, preview_lines, refused_lines
    from pitwright.desk.wording import counted
    from pitwright.store.files import StoreError
    from pitwright.store.lap_source import read_source
    from pitwright.timing.laps import read_laps
    from pitwright.timing.text import MOST_BYTES, LapFileError

    with opened(arguments.folder, write=not arguments.dry_run) as session:
        heat = heat_for_laps(session.weekend, arguments.heat)
        if heat is None:
            raise CliError(_no_heat(arguments.heat, session.weekend))
        try:
            if arguments.file == "-":
                data = sys.stdin.buffer.read(MOST_BYTES + 1)
            else:
                data = read_source(Path(arguments.file))
            kind: Any = _KINDS.get(arguments.kind)
            found = read_laps(data, driver=arguments.which, kind=kind)
        except LapFileError as error:
            raise CliError(str(error)) from error
        if found.question:
            raise CliError(f"{found.asks} Say --which with one of: {'; '.join(found.question)}")
        laps, name = list(found.laps), heat.run.heat
        same = [round(x, 6) for x in heat.laps] == [round(x, 6) for x in laps]
        refused = [(r.line, r.text, r.reason) for r in found.rejected]
        understood = found.understood
        kept = bool(laps) and not arguments.dry_run
        if not arguments.json:
            lines = preview_lines(heat, laps, understood.sentence, understood.notes, found.driver)
            print("\n".join([*lines, *refused_lines(refused)]))
        if kept and heat.laps and not same and not arguments.replace:
            raise CliError(
                f"{name} has {counted(len(heat.laps), 'lap')} already: "
                "say --replace to replace them"
            )
        if kept:
            try:
                session.keep_laps(name, laps, data, found.marks)
            except StoreError as error:
                raise CliError(error.strerror or str(error)) from error
        if arguments.json:
            answer(
                {
                    "heat": name,
                    "kept": kept,
                    "driver": found.driver,
                    "understood": understood,
                    "laps": laps,
                    "marks": found.marks,
                    "rejected": found.rejected,
                }
            )
        elif kept:
            print(f"Kept for {name}.")
        elif not laps:
            print("Nothing to keep.")
    return 0 if laps else 1


def _no_heat(name: str, weekend: Weekend) -> str:
    from pitwright.desk.pace.lap_preview import heats_for_laps

    noted = ", ".join(h.run.heat for h in heats_for_laps(weekend))
    if not noted:
        return f"no heat has been noted yet; note {name} first (pitwright heat)"
    return f"no heat '{name}' was run; noted are {noted}"


# Pace


def _chosen(weekend: Weekend, names: Sequence[str]) -> tuple[PaceHeat, ...]:
    from pitwright.desk.pace.pace import find_heats, pace_heats, usual_choice

    heats = pace_heats(weekend)
    if not names:
        usual = usual_choice(heats)
        return tuple(h for h in heats if h.record in usual)
    return _found(heats, names, weekend, find_heats)


def _found(
    heats: Sequence[PaceHeat], names: Sequence[str], weekend: Weekend, find: Any
) -> tuple[PaceHeat, ...]:
    try:
        found: tuple[PaceHeat, ...] = find(heats, names)
    except KeyError as error:
        raise CliError(_no_heat(str(error.args[0]), weekend)) from error
    return found


def _pace(arguments: argparse.Namespace) -> int:
    from pitwright.desk.pace.pace import heat_pace, pace_heats
    from pitwright.desk.pace.words import choice_line, heat_words, pace_lines

    rule = _rule(arguments)
    with opened(arguments.folder) as session:
        heats = _chosen(session.weekend, arguments.heats)
        every = pace_heats(session.weekend)
    paces = [heat_pace(h.laps, rule.aside, rule.best_n, rule.run_n) for h in heats]
    if arguments.json:
        told = [_pace_json(heat, pace) for heat, pace in zip(heats, paces, strict=True)]
        answer({"heats": told})
        return 0
    if not every:
        print("No heat has been run yet.")
        return 0
    if not arguments.heats:
        print(choice_line(every, {h.record for h in heats}, 100))
    counts = {"best_n": rule.best_n, "run_n": rule.run_n}
    print("\n".join(pace_lines(heats, paces, 100, **counts, every=every)))
    if len(heats) == 1:
        print("\n".join(["", *heat_words(heats[0], paces[0])]))
    else:
        print(f"\n{rule.aside.sentence}")
    return 0


def _pace_json(heat: PaceHeat, pace: HeatPace | None) -> Mapping[str, Any]:
    from pitwright.desk.pace.pace import lap_spread

    return {
        "heat": heat.name,
        "kind": heat.kind,
        "at": heat.at,
        "why_not_usual": heat.aside_because,
        "changed_before": heat.changes,
        "pace": pace,
        "spread": None if pace is None else lap_spread(heat.name, pace),
    }


# Compare


def _compare(arguments: argparse.Namespace) -> int:
    from pitwright.desk.pace.words import asked_words, comparing_lines, state_lines

    if (arguments.a is None) != (arguments.b is None):
        raise CliError("name both states, A and B, or neither for every pair")
    rule = _rule(arguments)
    with opened(arguments.folder) as session:
        found = _compared(session.weekend, arguments, rule)
    if arguments.json:
        answer(
            {
                "by": "heats" if arguments.by == "heats" else found.asked.by,
                "figure": found.asked.figure,
                "states": [{"state": s.label, "heats": s.heats, "values": s.values,
                            "median": s.median} for s in found.states],
                "comparisons": found.comparisons,
                "also_differs": found.also,
                "slope": found.slope,
                "spread": found.spread,
                "heats_needed": found.needs,
                "left_out": [{"heat": name, "why": why} for name, why in found.left_out],
                "notes": found.notes,
                "rule": found.rule,
            }
        )  # fmt: skip
        return 0
    print(asked_words(found))
    print("\n".join(state_lines(found)))
    print("\n".join(["", *comparing_lines(found), found.rule.sentence]))
    return 0


def _compared(weekend: Weekend, arguments: argparse.Namespace, rule: PaceRule) -> Comparing:
    from pitwright.desk.pace.clutch_states import GROUPINGS, By, grouped, named
    from pitwright.desk.pace.compare import Asked, compare_heats, compare_lists
    from pitwright.desk.pace.pace import find_heats, pace_heats

    every = pace_heats(weekend)
    also = {h.record for h in _found(every, arguments.also, weekend, find_heats)}
    usual = {h.record for h in _chosen(weekend, [])}
    heats = [h for h in every if h.record in usual | also]
    a, b = arguments.a, arguments.b
    if arguments.by == "heats" or (
        a is not None and arguments.by is None and _are_heats(every, a, b)
    ):
        if a is None:
            raise CliError("name two lists of heats: Q1,Q3 Q2,Q4")
        first, second = (_found(every, x.split(","), weekend, find_heats) for x in (a, b))
        arguments.by = "heats"
        try:
            return compare_lists(
                weekend, first, second, heats, figure=arguments.figure, rule=rule.aside
            )
        except ValueError as error:
            raise CliError(str(error)) from error
    looked: Sequence[By] = (
        GROUPINGS if arguments.by is None and a is not None else ([arguments.by or "spring"])
    )
    if a is None:
        asked = Asked(looked[0], arguments.figure, None, pairs=arguments.pairs)
        return compare_heats(weekend, heats, asked, rule.aside)
    for by in looked:
        groups = grouped(weekend, heats, by)
        pair = [named(groups, text) for text in (a, b)]
        first_state, second_state = pair
        if first_state is not None and second_state is not None:
            asked = Asked(by, arguments.figure, (first_state.label, second_state.label))
            try:
                return compare_heats(weekend, heats, asked, rule.aside)
            except ValueError as error:
                raise CliError(str(error)) from error
    raise CliError(_no_state(weekend, heats, looked, (a, b)))


def _are_heats(heats: Sequence[PaceHeat], a: str, b: str) -> bool:
    from pitwright.desk.pace.pace import find_heats

    try:
        find_heats(heats, [*a.split(","), *b.split(",")])
    except KeyError:
        return False
    return True


def _no_state(
    weekend: Weekend, heats: Sequence[PaceHeat], looked: Sequence[Any], texts: Sequence[str]
) -> str:
    from pitwright.desk.pace.clutch_states import BY_WORDS, grouped, named

    lines = []
    for by in looked:
        groups = grouped(weekend, heats, by)
        missing = next((text for text in texts if named(groups, text) is None), texts[0])
        labels = ", ".join(s.label for s in groups.states) or "none noted"
        lines.append(f"  by {BY_WORDS[by]} there is no '{missing}': {labels}")
    return "no heats to compare:\n" + "\n".join(lines)
