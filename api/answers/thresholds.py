"""What the page of thresholds is told."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from api.analytics.backtest import BackTest, Outcome, outcomes
from api.analytics.verdicts import Limits
from api.answers.back_test_desk import BackTestDesk
from api.answers.believed import believed
from api.answers.pages import page_frame
from api.answers.source import Source
from collector.site import Pump
from dashboards.threshold_views import ThresholdPage, ThresholdRow
from dashboards.views import UnitSystem

LOSSES_PCT: Final = (1, 2, 3, 5, 10)
"""Losses of head that may be tried [%]: from below what is raised to what calls for action."""


def threshold_page(
    source: Source, desk: BackTestDesk, pump: Pump, loss: float, units: UnitSystem | None = None
) -> ThresholdPage:
    """Return the page of a pump's thresholds, as far as it has been worked out."""
    found = desk.ask(source, loss, pump.name)
    facts = believed(source, pump)
    page = ThresholdPage(
        frame=page_frame(source, units),
        pump=pump.name,
        loss=loss,
        can_be_judged=facts.wear_can_be_seen,
        is_doubted=source.facts(pump).wear_can_be_seen and not facts.wear_can_be_seen,
        is_ready=pump.name in found,
        pumps=sum(test is not None for test in found.values()),
    )
    own = found.get(pump.name)
    if not page.is_ready or own is None:
        return page
    return _with_numbers(page, own, found, own.present)


def _with_numbers(
    page: ThresholdPage, own: BackTest, found: Mapping[str, BackTest | None], present: Limits
) -> ThresholdPage:
    tests = [test for test in found.values() if test is not None]
    return ThresholdPage(
        frame=page.frame,
        pump=page.pump,
        loss=page.loss,
        can_be_judged=True,
        is_ready=True,
        pumps=page.pumps,
        own=_rows(outcomes([own]), present),
        site=_rows(outcomes(tests), present),
        quiet_days=own.quiet_days,
        look_days=own.look_days,
        most_evidence_sd=own.most_evidence_sd,
    )


def _rows(found: Sequence[Outcome], present: Limits) -> tuple[ThresholdRow, ...]:
    return tuple(
        ThresholdRow(
            notice=each.limits.effect,
            evidence_sd=each.limits.z,
            is_set=each.limits == present,
            trials=each.trials,
            found=each.found,
            median_days=each.median_days,
            p90_days=each.p90_days,
            false_alarms=each.false_alarms,
            pump_years=each.pump_years,
            rate=each.false_alarms_a_year.value,
            rate_low=each.false_alarms_a_year.low,
            rate_high=each.false_alarms_a_year.high,
        )
        for each in found
    )
