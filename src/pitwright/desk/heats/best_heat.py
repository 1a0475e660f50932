"""What changed before the best heat."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from pitwright.desk.heats.changes import Difference, differences
from pitwright.desk.heats.happenings import Happening
from pitwright.desk.heats.timeline import timeline
from pitwright.desk.heats.timeline_rows import FEWEST_LAPS, HeatLine, best_of, lap_words
from pitwright.weekend.weekend import Weekend

__all__ = ["BeforeBest", "before_best"]


@dataclass(frozen=True)
class BeforeBest:
    """The quickest heat by median lap, and what had been done since the heat before it.

    ``heat`` is None when no heat has enough laps; ``before`` None when it was the first one.
    ``differences`` compares the clutch at both starts; ``sentence`` and ``caution`` say what
    that is worth.
    """

    sentence: str
    caution: str = ""
    heat: HeatLine | None = None
    before: HeatLine | None = None
    changes: tuple[Happening, ...] = ()
    differences: tuple[Difference, ...] = ()


def before_best(weekend: Weekend, now: datetime) -> BeforeBest:
    """Return what changed before the heat with the quickest median lap of the weekend."""
    ran = [h for h in timeline(weekend, now).heats if h.status in ("run", "stopped early")]
    best = best_of(ran)
    if best is None:
        return BeforeBest(f"No heat has {FEWEST_LAPS} laps yet, so none is the best.")
    before = next((h for h in reversed(ran[: ran.index(best)]) if h.clutch == best.clutch), None)
    timed = [h for h in ran if h.laps.median is not None and h.laps.count >= FEWEST_LAPS]
    sentence = (
        f"{best.heat} is the quickest of {len(timed)} timed heats by the median of its laps, "
        f"{lap_words(best.laps.median)} s."
        if len(timed) > 1
        else f"{best.heat} is the only timed heat, median lap {lap_words(best.laps.median)} s."
    )
    if before is None:
        return BeforeBest(sentence, "There is no heat before it to compare with.", best)
    states = {h.run.id: h.state for h in weekend.heats}
    changed = differences(weekend.card(best.clutch), states[before.record], states[best.record])
    return BeforeBest(
        sentence,
        "One quick heat proves no change right: the track, the tyres and luck change too. "
        "Pace compares clutch states over several heats.",
        best,
        before,
        tuple(c for c in best.changes if not c.quiet),
        changed,
    )
