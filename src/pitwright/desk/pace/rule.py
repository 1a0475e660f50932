"""The rule for stops and mistakes, and how many laps best n and n in a row take."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from pitwright.desk.form_text import FormError, FormField
from pitwright.desk.pace.pace import BEST_N, RUN_N
from pitwright.inference.laps import SetAsideRule

__all__ = ["PaceRule", "read_rule", "rule_form"]


@dataclass(frozen=True)
class PaceRule:
    """By which rule laps are set aside, and how many laps 'best n' and 'n in a row' take."""

    aside: SetAsideRule = field(default_factory=SetAsideRule)
    best_n: int = BEST_N
    run_n: int = RUN_N


_LABELS: Mapping[str, tuple[str, str]] = {
    "stop": ("Stop: over x median", "1.5"),
    "percent": ("Mistake: % over it", "3, and"),
    "spreads": ("Mistake: spreads over", "4"),
    "short": ("Short: under x median", "0.7"),
    "opening": ("Opening laps", "2, judged apart"),
    "best_n": ("Mean of best", "5 laps"),
    "run_n": ("Laps in a row", "3 laps"),
}
_WHOLE = ("opening", "best_n", "run_n")


def rule_form(rule: PaceRule) -> tuple[FormField, ...]:
    """Return the fields of the rule, filled with the one in force."""
    aside = rule.aside
    values = {
        "stop": aside.stop_ratio,
        "percent": (aside.mistake_ratio - 1) * 100,
        "spreads": aside.mistake_spreads,
        "short": aside.short_ratio,
        "opening": aside.opening,
        "best_n": rule.best_n,
        "run_n": rule.run_n,
    }
    return tuple(
        FormField(key, label, f"{values[key]:.6g}", hint, half=False)
        for key, (label, hint) in _LABELS.items()
    )


def read_rule(values: Mapping[str, str]) -> PaceRule:
    """Return the rule of a filled-in form; an empty field takes the usual figure.

    Raises FormError when a field is no number, or the rule would set ordinary laps aside.
    """
    usual = {f.key: f.value for f in rule_form(PaceRule())}
    read: dict[str, float] = {}
    errors: dict[str, str] = {}
    for key, (label, _hint) in _LABELS.items():
        text = values.get(key, "").strip() or usual[key]
        try:
            value = float(text.replace(",", "."))
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            errors[key] = f"{label}: '{text}' is not a number"
        elif key in _WHOLE and (value != int(value) or not 0 <= value <= 1000):
            errors[key] = f"{label}: a whole number of laps"
        elif key in ("best_n", "run_n") and value < 1:
            errors[key] = f"{label}: at least one lap"
        else:
            read[key] = value
    if errors:
        raise FormError(errors)
    ratio = 1 + read["percent"] / 100
    if not 1 < ratio <= read["stop"]:
        key = "stop" if read["stop"] <= 1 else "percent"
        raise FormError({key: "a mistake is over the median, and a stop is longer than a mistake"})
    try:
        aside = SetAsideRule(
            stop_ratio=read["stop"],
            mistake_spreads=read["spreads"],
            mistake_ratio=ratio,
            short_ratio=read["short"],
            opening=int(read["opening"]),
        )
    except ValueError as error:
        key = "short" if not 0 <= read["short"] < 1 else "spreads"
        raise FormError({key: str(error).replace("_", " ")}) from error
    return PaceRule(aside, int(read["best_n"]), int(read["run_n"]))
