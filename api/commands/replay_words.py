"""The back-test in words, for ``owncurve analyse --replay``."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from dashboards.display import number, percent
from dashboards.wording.kinds import kind_words
from dashboards.wording.sentences import effect_sentence, why_sentence

if TYPE_CHECKING:
    from api.analysis.replay import Said
    from api.analytics.backtest import Outcome
    from api.analytics.finding import Finding
    from api.answers.replays import Replayed
    from api.answers.source import Source


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
    first, newest = _told(source, said.finding), _told(source, said.newest)
    later = f" Last told: {newest}" if newest != first and said.finding.effect is not None else ""
    return f"{raised_words(source, said)}: {title} ({card.priority}). {first}{why}{later}"


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
    yield (
        f"{len(tests)} of {len(found)} pumps can show wear, with {number(years, 3)} quiet pump-years; "
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
        yield (
            "The quiet history after the first four weeks is too short to try a loss in: it takes 14 days in "
            "which nothing was raised."
        )


def _row(outcome: Outcome) -> str:
    rate = outcome.false_alarms_a_year
    days = ["-" if days is None else number(days, 3, 0) for days in (outcome.median_days, outcome.p90_days)]
    raised = f"{outcome.found}/{outcome.trials}"
    return (
        f"{outcome.limits.effect * 100:<10.2g}  {outcome.limits.z:<12g}  {days[0]:<9}  {days[1]:<6}  "
        f"{raised:<9}  "
        f"{number(rate.value, 2, 3)} ({number(rate.low, 2, 3)} to {number(rate.high, 2, 3)})"
    )
