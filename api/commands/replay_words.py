"""The back-test in words, for ``owncurve analyse --replay``."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from dashboards.display import number, percent
from dashboards.moments import day_words
from dashboards.pages.attention import pumps_words
from dashboards.wording.kinds import kind_words
from dashboards.wording.sentences import effect_sentence, why_sentence

if TYPE_CHECKING:
    from api.analysis.replay import Said
    from api.analytics.backtest import Outcome
    from api.analytics.finding import Finding
    from api.answers.replays import Replayed
    from api.answers.source import Source


_TOO_SHORT = (
    "The quiet history after the first four weeks is too short to try a loss in: it takes 14 days in which "
    "nothing was raised; a loss that stands, or work with a new baseline, begins the count anew."
)


def replay_text(source: Source, found: Sequence[Replayed], loss: float) -> str:
    """Return what would have been said when, then the thresholds side by side."""
    return "\n".join([*_diaries(source, found), "", *_thresholds(found, loss)])


def _diaries(source: Source, found: Sequence[Replayed]) -> Iterator[str]:
    for each in found:
        yield each.pump
        yield from (f"  {told_line(source, said)}" for said in each.said)
        if not each.said:
            yield "  nothing would have been said"


def told_line(source: Source, said: Said) -> str:
    """Return one line: the day, what was told then, and how it stood when it was last told."""
    from api.answers.replays import card_of, raised_words

    card = card_of(source, said.finding)
    why = f" {why_sentence(card)}" if card.causes else ""
    title = kind_words(card.kind).title
    first = _told(source, said.finding)
    return f"{raised_words(source, said)}: {title} ({card.priority}). {first}{why}{_later(source, said)}"


def _later(source: Source, said: Said) -> str:
    """Return until when it was told, and how it stood then if that differs from what was told first."""
    first, newest = said.finding, said.newest
    day = day_words(newest.last_utc_ms, source.site.time_zone, source.clock.now_utc_ms())
    if newest.effect is None:
        # A long time is told in days, a short one to the minute: that alone is nothing new.
        first = replace(first, last_utc_ms=newest.last_utc_ms, active=newest.active)
    if _told(source, first) != _told(source, newest):
        return f" Last told on {day}: {_told(source, newest)}"
    return f" Told until {day}." if newest.last_utc_ms > said.raised_utc_ms else ""


def _told(source: Source, finding: Finding) -> str:
    from api.answers.replays import card_of

    return effect_sentence(card_of(source, finding), source.site.time_zone, source.clock.now_utc_ms())


def _thresholds(found: Sequence[Replayed], loss: float) -> Iterator[str]:
    from api.answers.replays import together

    outcomes = together(found)
    tests = [each.test for each in found if each.test is not None]
    if not outcomes:
        yield "No pump here measures both flow and head and has a curve of its own, so no loss can be tried."
        return
    years = outcomes[0].pump_years
    if not years:
        yield _TOO_SHORT
        return
    yield (
        f"{len(tests)} of {pumps_words(len(found))} can show wear, with {number(years, 3)} quiet pump-years; "
        f"a loss of {percent(loss, 1)} of head put into their own hours on {outcomes[0].trials} days:"
    )
    yield "  from % off  evidence, se  median, d  p90, d  raised     false alarms a pump-year (95 %)"
    present = {test.present for test in tests}
    nearest = max(tests, key=lambda test: test.most_evidence_sd)
    yield from (f"{'*' if each.limits in present else ' '} {_row(each)}" for each in outcomes)
    yield (
        f"Nearest to an alarm in quiet times: {nearest.pump}, evidence of "
        f"{number(nearest.most_evidence_sd, 2)} standard errors."
    )
    yield "* as set now; se: standard errors. Days count to the end of the alarm's day; - is not in time."
    if not outcomes[0].trials:
        yield _TOO_SHORT


def _row(outcome: Outcome) -> str:
    rate = outcome.false_alarms_a_year
    days = ["-" if days is None else number(days, 3, 0) for days in (outcome.median_days, outcome.p90_days)]
    raised = f"{outcome.found}/{outcome.trials}"
    return (
        f"{outcome.limits.effect * 100:<10.2g}  {outcome.limits.z:<12g}  {days[0]:<9}  {days[1]:<6}  "
        f"{raised:<9}  "
        f"{number(rate.value, 2, 3)} ({number(rate.low, 2, 3)} to {number(rate.high, 2, 3)})"
    )
