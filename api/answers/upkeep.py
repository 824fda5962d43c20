"""Which work is due at which pump: the site file's tasks, the service log and the run hours together."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any, Final

import pandas as pd

from api.analytics.spans import DAY_MS
from api.analytics.upkeep import Due, Task, due, grease_g
from api.analytics.upkeep.counts import PACE_DAYS, counts_since
from api.analytics.upkeep.done import DONE_BY, does
from api.analytics.upkeep.due import Counts
from api.answers.findings import iso_utc
from api.answers.source import Source
from api.store.service_events import ServiceRecord
from collector.site import Bearing, Pump, Upkeep, upkeep_of
from dashboards.upkeep_views import Grease, UpkeepRow

STATE_ORDER: Final = ("due", "soon", "unknown", "not_yet")


def upkeep(source: Source, pumps: Iterable[Pump]) -> tuple[UpkeepRow, ...]:
    """Return every task of these pumps, what is due first, then what has used most of its interval."""
    rows = [row for pump in pumps for row in _of_pump(source, pump)]
    return tuple(sorted(rows, key=lambda row: (STATE_ORDER.index(row.state), -(row.used or 0.0))))


def _of_pump(source: Source, pump: Pump) -> list[UpkeepRow]:
    tasks = upkeep_of(source.site.upkeep, pump.name)
    if not tasks:
        return []
    log = source.api_store.service_log(pump.name)
    done = [_last_done(task, log) for task in tasks]
    hours = _hours(source, pump, done)
    begin = _first_known(source, pump, hours)
    return [_row(source, pump, task, record, hours, begin) for task, record in zip(tasks, done, strict=True)]


def _last_done(task: Upkeep, log: Sequence[ServiceRecord]) -> ServiceRecord | None:
    return next(
        (record for record in reversed(log) if does(record.event.kind, record.note, task.kind, task.name)),
        None,
    )


def _hours(source: Source, pump: Pump, done: Sequence[ServiceRecord | None]) -> pd.DataFrame:
    """Return the hour rows that any of the tasks needs: all of them where one was never recorded."""
    now = source.clock.now_utc_ms()
    times = [record.event.time_utc_ms if record else 0 for record in done]
    # From four weeks earlier on, so that a gap across the beginning is known.
    start = min(*times, now) - 2 * PACE_DAYS * DAY_MS
    return source.api_store.hours(pump.name, max(start, 0))


def _first_known(source: Source, pump: Pump, hours: pd.DataFrame) -> int | None:
    span = source.store.span(pump.name)
    starts = [*([span[0]] if span else []), *([int(hours.index[0])] if len(hours) else [])]
    return min(starts, default=None)


def _row(
    source: Source,
    pump: Pump,
    task: Upkeep,
    record: ServiceRecord | None,
    hours: pd.DataFrame,
    first_known_utc_ms: int | None,
) -> UpkeepRow:
    now = source.clock.now_utc_ms()
    since = record.event.time_utc_ms if record else first_known_utc_ms
    counts = _counts(task, hours, since, now)
    found = due(_task(task), counts, now)
    return replace(
        _stated(pump, task, counts, found),
        done_utc_ms=record.event.time_utc_ms if record else None,
        done_by_work=record.event.kind if record else "",
    )


def _counts(task: Upkeep, hours: pd.DataFrame, since_utc_ms: int | None, now_utc_ms: int) -> Counts:
    """Return what was counted; of a pump that must not stand for long, since it last ran or was turned."""
    counts = counts_since(hours, since_utc_ms, now_utc_ms)
    if task.standing_days is None or since_utc_ms is None:
        return counts
    stands = max(counts.last_ran_utc_ms or 0, since_utc_ms)
    unseen_h = counts_since(hours, stands, now_utc_ms).unseen_h
    return replace(counts, last_ran_utc_ms=stands, unseen_h=unseen_h)


def _task(task: Upkeep) -> Task:
    return Task(
        name=task.name or task.kind,
        every_run_h=task.every_run_h,
        every_days=task.every_days,
        standing_days=task.standing_days,
    )


def _stated(pump: Pump, task: Upkeep, counts: Counts, found: Due) -> UpkeepRow:
    return UpkeepRow(
        pump=pump.name,
        kind=task.kind,
        state=found.state.value,
        record_as=DONE_BY[task.kind][0],
        name=task.name.strip(),
        note=task.note,
        by=found.by,
        used=found.used,
        every_run_h=task.every_run_h,
        every_days=task.every_days,
        standing_days=task.standing_days,
        run_h=counts.run_h,
        unseen_h=counts.unseen_h,
        since_utc_ms=counts.since_utc_ms,
        standing_since_utc_ms=counts.last_ran_utc_ms,
        about_utc_ms=found.about_utc_ms,
        grease=_grease(task.bearings or pump.nameplate.bearings) if task.kind == "greasing" else (),
    )


def _grease(bearings: Sequence[Bearing]) -> tuple[Grease, ...]:
    return tuple(
        Grease(grams=grease_g(bearing.outside_mm, bearing.width_mm), place=bearing.place)
        for bearing in bearings
    )


def plain_row(row: UpkeepRow) -> dict[str, Any]:
    """Return a task as programs read it; hours and days as numbers, instants in UTC."""
    return {
        "pump": row.pump,
        "task": row.kind,
        "name": row.name,
        "state": row.state,
        "due_by": row.by,
        "used": row.used,
        "run_h": row.run_h,
        "every_run_h": row.every_run_h,
        "every_days": row.every_days,
        "standing_days": row.standing_days,
        "unseen_h": row.unseen_h,
        "counted_since_utc": iso_utc(row.since_utc_ms),
        "done_utc": iso_utc(row.done_utc_ms),
        "done_by": row.done_by_work,
        "standing_since_utc": iso_utc(row.standing_since_utc_ms) if row.standing_days else None,
        "due_about_utc": iso_utc(row.about_utc_ms),
        "grease": [{"place": each.place, "grams": each.grams} for each in row.grease],
        "record_as": row.record_as,
    }
