"""A site's pass: which pumps changed, each looked at (in parallel where it pays), results written."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import as_completed
from dataclasses import dataclass, replace
from typing import Final

from api.analysis.facts_of_site import pump_facts, stated_interval_s
from api.analysis.failed_pump import FailedPump, failed_pump, not_yet_again, note_failure
from api.analysis.frames import Tail
from api.analysis.pump_pass import (
    PumpMark,
    PumpResult,
    interval_seen_s,
    look_again,
    number_of_events,
    settings_of,
)
from api.analysis.worker_processes import end_workers, starting, worker_processes
from api.analysis.write_result import Ends, read_mark, write_result
from api.analytics.facts import PumpFacts
from api.store.api_store import END_OF_TIME_MS, ApiStore, open_api_store
from collector.clock import Clock
from collector.site import Pump, Site
from collector.store import HOUR_MS, Store, StoreError, Touched, open_store

HOURS_WORTH_PROCESSES: Final = 2000
"""Below this many touched hours over all pumps, starting processes costs more than it saves."""

MOST_MARKS_BEHIND: Final = 1000

CLOCKS_APART_MS: Final = 3 * HOUR_MS
"""A reading so far ahead of the clock is of the future; nearer ones are looked at with those of now."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AnalysisReport:
    """What a pass did: pumps looked at, hours renewed, findings that changed, pumps whose analysis failed."""

    pumps: int
    hours: int
    changed_findings: int
    failed: tuple[FailedPump, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class PumpTask:
    """One pump to look at: all that another process needs to know besides the database."""

    facts: PumpFacts
    mark: PumpMark
    touched: Sequence[int]


def analyse_site(
    site: Site,
    store: Store,
    api_store: ApiStore,
    clock: Clock,
    progress: Callable[[int, int], None] | None = None,
    tails: dict[str, Tail] | None = None,
) -> AnalysisReport:
    """Bring hour rows, curves and findings up to date with the stored readings.

    A pass that dies leaves each pump either done or as it was; the next pass goes on from there. So does a
    pump that cannot be analysed: all others are written, and it is noted and reported.
    ``progress`` is told (pumps done, pumps to do). ``tails``, empty at first, keep the newest readings in
    memory for one that makes a pass every few seconds; such a one lets a failed pump rest for an hour, while
    one that asks once is always answered.

    Raises
    ------
    collector.store.StoreError
        When the database cannot be read or written.
    collector.registers.RegisterMapError
        When a register map of the site cannot be read.
    """
    tasks = tasks_of(site, store, api_store)
    resting = [] if tails is None else _resting(api_store, tasks, clock.now_utc_ms())
    tasks = [task for task in tasks if task.facts.pump not in {each.pump for each in resting}]
    failed, changed = list(resting), 0
    facts = {task.facts.pump: task.facts for task in tasks}
    for done, result in enumerate(_results(site, store, api_store, tasks, tails), start=1):
        written = _written(store, api_store, result, clock)
        if isinstance(written, FailedPump):
            note_failure(api_store, written, facts[written.pump], clock.now_utc_ms())
            failed.append(written)
        else:
            changed += written
        if progress is not None:
            progress(done, len(tasks))
    hours, in_order = sum(len(task.touched) for task in tasks), _in_order(site, failed)
    return AnalysisReport(pumps=len(tasks), hours=hours, changed_findings=changed, failed=in_order)


def _resting(api_store: ApiStore, tasks: Sequence[PumpTask], now_utc_ms: int) -> list[FailedPump]:
    found = (not_yet_again(api_store, task.facts, now_utc_ms) for task in tasks)
    return [each for each in found if each is not None]


def _in_order(site: Site, failed: Sequence[FailedPump]) -> tuple[FailedPump, ...]:
    by_name = {each.pump: each for each in failed}
    return tuple(by_name[pump.name] for pump in site.pumps if pump.name in by_name)


def _written(
    store: Store, api_store: ApiStore, result: PumpResult | FailedPump, clock: Clock
) -> int | FailedPump:
    """Write a pump's result and return how many findings changed."""
    if isinstance(result, FailedPump):
        return result
    now = clock.now_utc_ms()
    try:
        return write_result(api_store, result, _ends(store, result, now), now)
    except StoreError:
        raise
    except Exception as error:
        return failed_pump(result.pump, error)


def tasks_of(site: Site, store: Store, api_store: ApiStore) -> list[PumpTask]:
    """Return the site's pumps of which something changed since their own last pass."""
    answers: dict[int, Touched] = {}
    tasks = []
    for pump in site.pumps:
        mark = read_mark(api_store, pump.name)
        if mark.readings not in answers:
            answers[mark.readings] = store.touched_hours(mark.readings)
        touched = answers[mark.readings]
        if hours := touched.hours.get(pump.name):
            new_mark = _marked(store, pump, mark, touched.mark, hours[-1])
            facts = _facts(site, pump, store, api_store, mark)
            is_restated = (number_of_events(facts), settings_of(facts)) != (mark.events, mark.settings)
            if is_restated or _has_news(mark, new_mark, hours):
                tasks.append(PumpTask(facts=facts, mark=new_mark, touched=hours))
    return tasks


def _has_news(mark: PumpMark, new_mark: PumpMark, hours: Sequence[int]) -> bool:
    """Return whether more than the newest hour is named, or that hour holds more than it did."""
    # A mark left far behind makes the journal's answer long, so that it is moved on now and then.
    is_near = new_mark.readings - mark.readings < MOST_MARKS_BEHIND
    return len(hours) > 1 or not is_near or replace(new_mark, readings=mark.readings) != mark


def _marked(store: Store, pump: Pump, mark: PumpMark, readings: int, newest_hour_utc_ms: int) -> PumpMark:
    """Return the mark that stands once what is stored now has been looked at."""
    end = newest_hour_utc_ms + HOUR_MS
    return replace(
        mark,
        readings=readings,
        newest_readings=len(store.rows(pump.name, newest_hour_utc_ms, end, ())),
        newest_failures=len(store.failures(pump.name, newest_hour_utc_ms, end)),
    )


def _facts(site: Site, pump: Pump, store: Store, api_store: ApiStore, mark: PumpMark) -> PumpFacts:
    seen = mark.interval_s
    if seen is None and stated_interval_s(site, pump) is None:
        seen = interval_seen_s(store, pump.name)
    return pump_facts(site, pump, events=api_store.events(pump.name), interval_s=seen)


def _results(
    site: Site,
    store: Store,
    api_store: ApiStore,
    tasks: Sequence[PumpTask],
    tails: dict[str, Tail] | None,
) -> Iterator[PumpResult | FailedPump]:
    processes = min(os.cpu_count() or 1, len(tasks))
    if processes < 2 or sum(len(task.touched) for task in tasks) < HOURS_WORTH_PROCESSES:
        for task in tasks:
            yield _looked(store, api_store, task, tails)
        return
    pool = worker_processes(processes)
    try:
        with starting():
            futures = [pool.submit(look_elsewhere, site.database_url, task) for task in tasks]
        for future in as_completed(futures):
            yield future.result()
    except BaseException:
        end_workers()
        raise
    finally:
        pool.shutdown(cancel_futures=True)


def look_elsewhere(url: str, task: PumpTask) -> PumpResult | FailedPump:
    """Look at one pump in a process of its own, with its own connections."""
    store, api_store = open_store(url), open_api_store(url)
    try:
        return _looked(store, api_store, task, None)
    finally:
        store.close()
        api_store.close()


def _looked(
    store: Store, api_store: ApiStore, task: PumpTask, tails: dict[str, Tail] | None
) -> PumpResult | FailedPump:
    """Look at one pump; what goes wrong with it alone is an answer too, since others wait behind it."""
    try:
        return look_again(store, api_store, task.facts, task.mark, task.touched, tails)
    except StoreError:
        raise
    except Exception as error:
        return failed_pump(task.facts.pump, error)


def _ends(store: Store, result: PumpResult, now_utc_ms: int) -> Ends:
    last_reading = _newest_reading_utc_ms(store, result, now_utc_ms)
    spans = result.fast.spans
    start = max(last_reading, spans[0].start_utc_ms if spans else 0)
    failures = store.failures(result.pump, start, END_OF_TIME_MS)
    last_scan = max([last_reading, *(item.time_utc_ms for item in failures)])
    return Ends(reading_utc_ms=last_reading, scan_utc_ms=last_scan)


def _newest_reading_utc_ms(store: Store, result: PumpResult, now_utc_ms: int) -> int:
    """Return when the pump was last read; what a clock set back left in the future tells nothing of now.

    Where nothing that was looked at lies before now, the clock is the wrong one.
    """
    span = store.span(result.pump)
    soon = now_utc_ms + CLOCKS_APART_MS
    if span is None or span[1] <= soon:
        return span[1] if span else 0
    for looked in reversed(result.fast.spans):
        until = min(looked.end_utc_ms, soon)
        if looked.start_utc_ms < until and (rows := store.rows(result.pump, looked.start_utc_ms, until, ())):
            return int(rows[-1][0])
    return span[1]
