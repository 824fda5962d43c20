"""How the lines are: who answers, how busy, what goes wrong, and what the counts say of the wires."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from api.answers.line_sums import LINE_STEPS_MS, LineSums, grouped
from api.answers.line_troubles import NEARLY_ALL, RECENT_MS, line_troubles, setting_words, worse_since
from api.answers.pages import page_frame
from api.answers.pump_row import LATE_AFTER_S
from api.answers.source import Source
from collector.line_quarter import QUARTER_MS, LineQuarter
from collector.reading import FailureKind, PollFailure
from collector.site import Bus, Pump
from collector.store import HOUR_MS
from dashboards.addresses import LINE_RANGES
from dashboards.line_views import Line, LinesPage, LineState, UnitOnLine
from dashboards.views import UnitSystem

DAY_MS: Final = 24 * HOUR_MS


def lines_page(source: Source, range_name: str, units: UnitSystem | None = None) -> LinesPage:
    """Return the page of the lines over a range that ``LINE_RANGES`` names."""
    hours = LINE_RANGES[range_name]
    now = source.clock.now_utc_ms()
    start, end = now - hours * HOUR_MS, now + DAY_MS
    sums = source.store.line_sums(start, end, LINE_STEPS_MS[range_name])
    counted = grouped(sums, lambda each: each.bus)
    return LinesPage(
        frame=page_frame(source, units),
        range=range_name,
        hours=hours,
        lines=tuple(_line(source, bus, counted.get(bus.name, ()), now) for bus in source.site.buses),
    )


def _line(source: Source, bus: Bus, counted: Sequence[LineQuarter], now: int) -> Line:
    pumps = {pump.unit_id or 0: pump for pump in source.site.pumps_on(bus)}
    by_unit = grouped(counted, lambda each: each.unit)
    units = tuple(
        _unit(source, unit, pumps.get(unit), by_unit.get(unit, ()), now)
        for unit in sorted({*by_unit, *pumps})
    )
    readings = [each.last_reading_utc_ms for each in units if each.last_reading_utc_ms is not None]
    until = max((each.end_utc_ms for each in counted), default=None)
    state = _state([each for each in units if each.pump], is_counted=bool(counted or readings))
    return Line(
        name=bus.name,
        place=bus.place,
        setting=setting_words(bus),
        is_listened=bus.listen_only,
        state=state,
        use=LineSums(tuple(counted)).use,
        units=units,
        troubles=() if until is None else _troubles(source, bus, min(until, now)),
        worse=()
        if state in ("dead", "not_asked")
        else tuple(worse_since(counted, by_unit, pump_names(source, bus))),
        last_reading_utc_ms=max(readings, default=None),
        counted_until_utc_ms=until,
    )


def _troubles(source: Source, bus: Bus, until: int) -> tuple[str, ...]:
    recent = source.store.lines(until - RECENT_MS - QUARTER_MS, until + DAY_MS, bus.name)
    return line_troubles(bus, recent, until)


def _unit(
    source: Source, unit: int, pump: Pump | None, counted: Sequence[LineQuarter], now: int
) -> UnitOnLine:
    sums = LineSums(tuple(counted))
    span = source.store.span(pump.name) if pump else None
    last = span[1] if span else None
    failed = _failed_since(source, pump, last, now) if pump else ()
    return UnitOnLine(
        unit=unit,
        pump=pump.name if pump else "",
        requests=sums.of("requests"),
        answers=sums.of("answers"),
        no_reply=sums.of("no_reply"),
        damaged=sums.of("damaged"),
        refused=sums.of("refused"),
        echo=sums.of("echo"),
        no_link=sums.of("no_link"),
        reply_p50_s=sums.reply_s(0.5),
        reply_p95_s=sums.reply_s(NEARLY_ALL),
        last_reading_utc_ms=last,
        is_silent=bool(failed),
        why_not_asked=failed[-1].sentence if failed and failed[-1].kind is FailureKind.NO_LINK else "",
    )


def _failed_since(source: Source, pump: Pump, last: int | None, now: int) -> Sequence[PollFailure]:
    """Return the tries since the last reading: all failed. The collector's silence is not the drive's."""
    since = max(last or 0, now - DAY_MS)
    if last is not None and now - last < LATE_AFTER_S * 1000:
        return ()
    return source.store.failures(pump.name, since, now + DAY_MS)


def _state(pumps: Sequence[UnitOnLine], *, is_counted: bool) -> LineState:
    silent = [each.is_silent for each in pumps]
    if silent and all(each.why_not_asked for each in pumps):
        return "not_asked"
    if silent and all(silent):
        return "dead"
    if any(silent):
        return "some_silent"
    return "answers" if is_counted else "not_counted"


def pump_names(source: Source, bus: Bus) -> dict[int, str]:
    """Return the pumps of a bus by their unit numbers."""
    return {pump.unit_id or 0: pump.name for pump in source.site.pumps_on(bus)}
