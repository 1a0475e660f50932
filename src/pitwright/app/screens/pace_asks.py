"""The questions the Pace screen asks back: what to compare, and by which rule."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from textual.app import App

from pitwright.app.widgets.dialogs import Choice, Field, FormDialog, Pick
from pitwright.desk.form_text import FormError
from pitwright.desk.pace.clutch_states import BY_WORDS, GROUPINGS, grouped
from pitwright.desk.pace.compare import FIGURE_WORDS, FIGURES, Asked
from pitwright.desk.pace.pace import PaceHeat
from pitwright.desk.pace.rule import PaceRule, read_rule, rule_form
from pitwright.desk.wording import counted
from pitwright.weekend.weekend import Weekend

__all__ = ["ask_figure", "ask_group", "ask_pair", "ask_rule"]

_EVERY, _SLOPE = "every pair", "slope"


async def ask_group(app: App[Any], asked: Asked) -> Asked | None:
    """Ask what makes two heats the same clutch; None when left with Escape."""
    choices = [Choice(by, BY_WORDS[by].capitalize()) for by in GROUPINGS]
    key = await app.push_screen_wait(Pick("Compare by", choices, chosen=asked.by))
    by = next((g for g in GROUPINGS if g == key), None)
    return None if by is None else Asked(by=by, figure=asked.figure)


async def ask_figure(app: App[Any], asked: Asked) -> Asked | None:
    """Ask what is compared; None when left with Escape."""
    choices = [Choice(f, FIGURE_WORDS[f].capitalize()) for f in FIGURES]
    key = await app.push_screen_wait(Pick("Compare which figure?", choices, chosen=asked.figure))
    figure = next((f for f in FIGURES if f == key), None)
    return None if figure is None else replace(asked, figure=figure)


async def ask_pair(
    app: App[Any], weekend: Weekend, heats: Sequence[PaceHeat], asked: Asked
) -> Asked | None:
    """Ask for two states, every pair or the slope; None when left with Escape."""
    states = grouped(weekend, heats, asked.by).states
    if len(states) < 2:
        app.notify(f"The chosen heats do not differ by {BY_WORDS[asked.by]}", severity="warning")
        return None
    choices = [Choice(s.label, s.label, counted(len(s.heats), "heat")) for s in states]
    first = [Choice(_EVERY, "Every pair", "judged more strictly, the more there are")]
    if asked.by in ("recess", "bite") and len(states) > 2:
        first.insert(0, Choice(_SLOPE, "Slope", f"does pace follow the {BY_WORDS[asked.by]}?"))
    chosen = asked.pair[0] if asked.pair is not None else first[0].key
    a = await app.push_screen_wait(Pick("Compare with which?", [*first, *choices], chosen=chosen))
    if a is None:
        return None
    if a in (_EVERY, _SLOPE):
        return replace(asked, pair=None, pairs=a == _EVERY)
    rest = [c for c in choices if c.key != a]
    b = await app.push_screen_wait(Pick(f"What against {a}?", rest))
    return None if b is None else replace(asked, pair=(a, b))


async def ask_rule(app: App[Any], rule: PaceRule) -> PaceRule | None:
    """Ask for the rule; None when left with Escape."""

    def check(values: dict[str, str]) -> tuple[str, str] | None:
        try:
            read_rule(values)
        except FormError as error:
            return error.first
        return None

    fields = [Field(f.key, f.label, f.value, f.hint) for f in rule_form(rule)]
    title = "Which laps are set aside (holds until the app is left)"
    values = await app.push_screen_wait(FormDialog(title, fields, check=check, draft="pace rule"))
    return None if values is None else read_rule(values)
