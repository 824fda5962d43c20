"""A verdict is told when it is sure, on both sides of its limits, and else says when it will be."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from api.analytics.change import DayNoise
from api.analytics.finding import Evidence, Finding, Kind, Priority
from api.analytics.repair.levels import Levels
from api.analytics.repair.outcome import Verdict, by_level, by_quiet
from api.analytics.repair.quantities import Measured, Quantity
from api.analytics.repair.stretch import Stretch

DAY = 86_400_000
HOUR = 3_600_000
AT = 100 * DAY
LOSS = -0.05


def stretch(days: float = 7, is_over: bool = False) -> Stretch:
    end = AT + int(days * DAY)
    return Stretch(
        first_utc_ms=AT - 28 * DAY, begun_utc_ms=AT, done_utc_ms=AT, end_utc_ms=end, is_over=is_over
    )


def finding(kind: Kind = Kind.HEAD_LOSS, **more: object) -> Finding:
    loss = Finding(
        pump="P1",
        kind=kind,
        first_utc_ms=AT - 3 * DAY,
        last_utc_ms=AT,
        active=True,
        priority=Priority.PLANNED,
        effect=LOSS,
    )
    return replace(loss, **more)  # type: ignore[arg-type]


def head(change: float, error: float, before: float = LOSS) -> Measured:
    levels = Levels(
        before=before,
        since=before + change,
        covariance=np.diag([error**2, error**2]) / 2,
        noise=DayNoise(day_sd=error, autocorrelation=0.5, hour_sd=0.001),
        before_days=20,
        since_days=3,
        hours_a_day=20.0,
    )
    return Measured(
        quantity=Quantity.HEAD,
        before=before,
        since=before + change,
        since_low=0.0,
        since_high=0.0,
        change=change,
        change_low=0.0,
        change_high=0.0,
        levels=levels,
    )


@pytest.mark.parametrize(
    ("change", "verdict"),
    [
        (0.050, Verdict.WORKED),
        (0.036, Verdict.WORKED),
        (0.034, Verdict.TOO_EARLY),
        (0.016, Verdict.TOO_EARLY),
        (0.014, Verdict.PARTLY),
        (0.012, Verdict.DID_NOT_WORK),
        (0.000, Verdict.DID_NOT_WORK),
        (-0.02, Verdict.DID_NOT_WORK),
    ],
)
def test_more_than_half_back_is_told_from_less_once_the_interval_leaves_no_doubt(
    change: float, verdict: Verdict
) -> None:
    # Half of 5 % is 2.5 %, and the interval is 1 % on either side.
    assert by_level(finding(), head(change, 0.01 / 1.96), stretch()).verdict is verdict


def test_a_wide_interval_waits_and_says_until_when() -> None:
    told = by_level(finding(), head(0.03, 0.02), stretch(3))
    assert told.verdict is Verdict.TOO_EARLY
    assert told.known_at_utc_ms is not None
    assert AT + 3 * DAY < told.known_at_utc_ms <= AT + 28 * DAY


def test_after_four_weeks_it_waits_no_longer() -> None:
    told = by_level(finding(), head(0.03, 0.02), stretch(28, is_over=True))
    assert (told.verdict, told.known_at_utc_ms) == (Verdict.NOT_KNOWN, None)
    sure_of_some = by_level(finding(), head(0.028, 0.01), stretch(28, is_over=True))
    assert sure_of_some.verdict is Verdict.PARTLY


def test_without_hours_on_both_sides_nothing_is_claimed() -> None:
    assert by_level(finding(), None, stretch()).verdict is Verdict.TOO_EARLY
    assert by_level(finding(), None, stretch(28, is_over=True)).verdict is Verdict.NOT_KNOWN


def test_a_level_that_was_too_high_is_cured_by_a_fall() -> None:
    drag = finding(Kind.MECHANICAL_DRAG, effect=0.09)
    assert by_level(drag, head(-0.09, 0.005, before=0.09), stretch()).verdict is Verdict.WORKED
    assert by_level(drag, head(0.02, 0.005, before=0.09), stretch()).verdict is Verdict.DID_NOT_WORK


def running(days: float, share: float = 1.0) -> pd.DataFrame:
    index = pd.Index(np.arange(AT - 28 * DAY, AT + int(days * DAY), HOUR), dtype=np.int64)
    return pd.DataFrame({"seconds_running": 3600.0 * share}, index=index)


def air(episodes: float, last_utc_ms: int = AT - HOUR) -> Finding:
    counted = (Evidence(name="episodes", value=episodes),)
    return finding(Kind.AIR_BINDING, effect=None, evidence=counted, last_utc_ms=last_utc_ms)


@pytest.mark.parametrize(("hours", "verdict"), [(11, Verdict.TOO_EARLY), (13, Verdict.WORKED)])
def test_gas_that_stays_away_longer_than_chance_would_have_it_is_gone(hours: int, verdict: Verdict) -> None:
    """18 bursts in 72 running hours: none for 12 h has a chance of exp(-18/72 * 12) = 5 % (Poisson)."""
    told = by_quiet(air(18), [], running(hours / 24), stretch(hours / 24))
    assert told.verdict is verdict
    assert told.quiet_h == pytest.approx(hours)


def test_what_is_too_early_says_when_it_will_be_known_by_how_much_the_pump_runs() -> None:
    told = by_quiet(air(18), [], running(0.25, share=0.5), stretch(0.25))
    assert told.known_at_utc_ms is not None
    # 36 running hours of 72 before: twice as many bursts an hour of running, so 6 h of running are asked for.
    assert told.known_at_utc_ms == pytest.approx(AT + 12 * HOUR, abs=HOUR)


def test_gas_seen_again_within_a_day_does_not_yet_mean_that_it_failed() -> None:
    told = by_quiet(air(18, last_utc_ms=AT + 5 * HOUR), [], running(0.5), stretch(0.5))
    assert told.verdict is Verdict.TOO_EARLY
    assert told.seen_again_utc_ms == AT + 5 * HOUR
    later = by_quiet(air(18, last_utc_ms=AT + 5 * HOUR), [], running(2), stretch(2))
    assert later.verdict is Verdict.WORKED


def test_gas_seen_again_after_a_day_means_that_it_failed() -> None:
    again = air(4, last_utc_ms=AT + 60 * HOUR)
    told = by_quiet(air(18), [replace(again, first_utc_ms=AT + 40 * HOUR)], running(7), stretch(7))
    assert told.verdict is Verdict.DID_NOT_WORK
    assert told.seen_again_utc_ms == AT + 60 * HOUR


def test_a_pump_that_stands_still_proves_nothing() -> None:
    told = by_quiet(air(18), [], running(20, share=0.0), stretch(20))
    assert (told.verdict, told.quiet_h) == (Verdict.TOO_EARLY, 0.0)
