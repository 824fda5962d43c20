"""One line over time, for its figure."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from api.answers.bus_health import DAY_MS, pump_names
from api.answers.line_sums import LINE_STEPS_MS, LineSums, grouped
from api.answers.line_troubles import NEARLY_ALL
from api.answers.source import Source
from collector.line_quarter import LineQuarter
from collector.site import Bus
from collector.store import HOUR_MS
from dashboards.addresses import LINE_RANGES
from dashboards.line_views import ERROR_KINDS, LinePicture, UnitReplies
from dashboards.views import FloatArray


def line_picture(source: Source, bus: Bus, range_name: str) -> LinePicture:
    """Return one line over time, its counts in steps that suit the range."""
    step_ms = LINE_STEPS_MS[range_name]
    now = source.clock.now_utc_ms()
    start = now - LINE_RANGES[range_name] * HOUR_MS
    counted = source.store.line_sums(start, now + DAY_MS, step_ms, bus.name)
    # What was never counted takes no room: on a first day the first hours fill the picture.
    first = max(start, min((each.start_utc_ms for each in counted), default=start))
    places = range(first // step_ms, now // step_ms + 1)
    sums = _over_time(counted, places, step_ms)
    by_unit = grouped(counted, lambda each: each.unit)
    pumps = pump_names(source, bus)
    return LinePicture(
        name=bus.name,
        time_zone=source.site.time_zone,
        step_ms=step_ms,
        times_utc_ms=np.array([place * step_ms for place in places], dtype=np.int64),
        use=_array([each.use for each in sums]),
        errors={kind: _array([_share(each, kind) for each in sums]) for kind in ERROR_KINDS},
        replies=tuple(
            _unit_replies(unit, pumps.get(unit, ""), _over_time(its, places, step_ms))
            for unit, its in sorted(by_unit.items())
            if any(any(each.reply_times) for each in its)
        ),
    )


def _unit_replies(unit: int, pump: str, sums: Sequence[LineSums]) -> UnitReplies:
    return UnitReplies(
        unit=unit,
        pump=pump,
        p50_s=_array([each.reply_s(0.5) for each in sums]),
        p95_s=_array([each.reply_s(NEARLY_ALL) for each in sums]),
    )


def _over_time(counted: Sequence[LineQuarter], places: range, step_ms: int) -> list[LineSums]:
    steps = grouped(counted, lambda each: each.start_utc_ms // step_ms)
    return [LineSums(tuple(steps.get(place, ()))) for place in places]


def _share(sums: LineSums, kind: str) -> float | None:
    turns = sums.of("requests") + (sums.of("no_link") if kind == "no_link" else 0)
    return sums.of(kind) / turns if turns else None


def _array(values: Sequence[float | None]) -> FloatArray:
    return np.array([np.nan if value is None else value for value in values], dtype=np.float64)
