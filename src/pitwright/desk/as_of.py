"""A weekend as it stood at an earlier moment."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from pitwright.weekend.records import AnyRecord, Build
from pitwright.weekend.weekend import Weekend

__all__ = ["as_of"]


def as_of(weekend: Weekend, moment: datetime) -> Weekend:
    """Return the weekend with what was on record at ``moment``, corrections followed.

    Work in progress that was begun later is left out; timers stay.
    """
    records = tuple(r for r in weekend.log.records if _done_at(r) <= moment)
    build, heat = weekend.open.build, weekend.open.heat
    return replace(
        weekend,
        log=replace(weekend.log, records=records),
        open=weekend.open.model_copy(
            update={
                "build": build if build is not None and build.started_at <= moment else None,
                "heat": heat if heat is not None and heat.heat.happened_at <= moment else None,
            }
        ),
    )


def _done_at(record: AnyRecord) -> datetime:
    return record.finished_at if isinstance(record, Build) else record.happened_at
