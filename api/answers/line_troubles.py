"""What counts of a line point to: what the wires look like now, and what became worse since when."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Final

from api.answers.line_changes import Rise, rise
from api.answers.line_sums import LineSums, grouped
from collector.line_quarter import LineQuarter, reply_class
from collector.site import Bus
from collector.store import HOUR_MS
from collector.survey.counts import LEAST_DAMAGED, LineCounts, Tally
from collector.survey.wiring import TroubleKind, troubles_of
from dashboards.line_views import Worse
from dashboards.wording.lines import refusing_words

RECENT_MS: Final = 2 * HOUR_MS
"""What is said of the wires is of these last hours: what was mended in the morning is no trouble now."""
NOTABLE_SHARE: Final = 0.01
"""From one damaged or missing answer in a hundred on, a rise is told (own choice: readings every 10 s then
still come)."""
SLOWER_SHARE: Final = 0.25
"""Of replies, slower than nearly all were before: a quarter is no longer chance or a busy minute."""
NEARLY_ALL: Final = 0.95
_SAID_HERE: Final = frozenset(
    {TroubleKind.NOTHING_ANSWERS, TroubleKind.NO_GOOD_FRAME, TroubleKind.REFUSALS_ONLY}
)
"""Words of the page's own: of a line on which nobody answers, and of refusals, since polling reads what a map
says and not the places that a survey tries."""


def line_troubles(bus: Bus, counted: Sequence[LineQuarter], until: int) -> tuple[str, ...]:
    """Return what the counts of the last hours before ``until`` [ms UTC] say of the wires, in sentences."""
    recent = [each for each in counted if each.end_utc_ms > until - RECENT_MS]
    counts = _line_counts(bus, grouped(recent, lambda each: each.unit))
    wires = [trouble.words for trouble in troubles_of(counts) if trouble.kind not in _SAID_HERE]
    return (*wires, *([refusing_words(counts.refusing)] if counts.refusing else []))


def _line_counts(bus: Bus, by_unit: Mapping[int, Sequence[LineQuarter]]) -> LineCounts:
    sums = {unit: LineSums(tuple(counted)) for unit, counted in by_unit.items()}
    answering = {unit for unit, each in sums.items() if each.of("answers") + each.of("refused")}
    garbled = {
        unit
        for unit, each in sums.items()
        if each.of("damaged") >= LEAST_DAMAGED and each.of("damaged") > each.of("answers")
    }
    sound = [sums[unit] for unit in answering - garbled]
    every, long = (
        Tally(
            sound=sum(each.of(answers) for each in sound),
            damaged=sum(each.of(damaged) for each in sound),
        )
        for answers, damaged in (("answers", "damaged"), ("long_answers", "long_damaged"))
    )
    return LineCounts(
        setting=setting_words(bus),
        units_asked=sum(each.of("requests") > 0 for each in sums.values()),
        answering=tuple(sorted(answering)),
        refusing=tuple(sorted(unit for unit in answering if not sums[unit].of("answers"))),
        garbled=tuple(sorted(garbled)),
        short=Tally(sound=every.sound - long.sound, damaged=every.damaged - long.damaged),
        long=long,
        echoes=sum(each.of("echo") for each in sums.values()),
        timeout_s=bus.timeout_s,
    )


def worse_since(
    counted: Sequence[LineQuarter], by_unit: Mapping[int, Sequence[LineQuarter]], pumps: Mapping[int, str]
) -> Iterable[Worse]:
    """Give what became worse and stayed so: damage on the whole line, silence and late replies by unit."""
    steps = grouped(counted, lambda each: each.start_utc_ms)
    starts = sorted(steps)
    sums = [LineSums(tuple(steps[start])) for start in starts]
    hits, trials = [each.of("damaged") for each in sums], [each.of("requests") for each in sums]
    if found := rise(hits, trials, NOTABLE_SHARE):
        yield Worse(kind="damaged", since_utc_ms=starts[found.place], before=found.before, after=found.after)
    for unit, its in by_unit.items():
        name = pumps.get(unit, "")
        if found := rise([e.no_reply for e in its], [e.requests for e in its], NOTABLE_SHARE):
            yield Worse(
                kind="no_reply",
                since_utc_ms=its[found.place].start_utc_ms,
                before=found.before,
                after=found.after,
                unit=unit,
                pump=name,
            )
        if later := _later(its):
            before, after = its[: later.place], its[later.place :]
            yield Worse(
                kind="later",
                since_utc_ms=its[later.place].start_utc_ms,
                before=_median_s(before),
                after=_median_s(after),
                unit=unit,
                pump=name,
            )


def _later(its: Sequence[LineQuarter]) -> Rise | None:
    """Return since when a quarter of a unit's replies come later than nearly all did in the first quarter."""
    usual_s = LineSums(tuple(its[: max(1, len(its) // 4)])).reply_s(NEARLY_ALL)
    if usual_s is None:
        return None
    slow = reply_class(usual_s) + 1
    return rise([sum(e.reply_times[slow:]) for e in its], [sum(e.reply_times) for e in its], SLOWER_SHARE)


def _median_s(counted: Sequence[LineQuarter]) -> float:
    return LineSums(tuple(counted)).reply_s(0.5) or 0.0


def setting_words(bus: Bus) -> str:
    """Return how a serial port is set, empty on a network."""
    return bus.line_setting.words if bus.kind == "serial" else ""
