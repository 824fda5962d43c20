"""Joining does not depend on how the readings were cut, nor on looking twice."""

from __future__ import annotations

from dataclasses import replace

import pytest

from api.analytics.finding import Evidence, Finding, Kind, Priority
from api.analytics.states import LEAD_IN_S, QUIET_S, fast_episodes, fast_findings, join
from tests.api.analytics.states.hand_made import CURVE, FACTS, START_UTC_MS, between, readings, without_flow

HOUR_MS = 3_600_000


def burst(first_h: float, last_h: float, kind: Kind = Kind.AIR_BINDING, episodes: float = 1.0) -> Finding:
    return Finding(
        pump="P01",
        kind=kind,
        first_utc_ms=START_UTC_MS + int(first_h * HOUR_MS),
        last_utc_ms=START_UTC_MS + int(last_h * HOUR_MS),
        active=True,
        priority=Priority.SOON,
        effect=-0.1,
        evidence=(Evidence(name="episodes", value=episodes),),
    )


def episodes(finding: Finding) -> float:
    return {one.name: one.value for one in finding.evidence}["episodes"]


def test_bursts_within_a_day_are_one_finding_that_counts_them() -> None:
    (one,) = join([burst(0, 1), burst(5, 6), burst(20, 21)])
    assert episodes(one) == 3


def test_a_quiet_time_longer_than_the_rule_makes_two_findings() -> None:
    quiet_h = QUIET_S[Kind.AIR_BINDING] / 3600
    assert len(join([burst(0, 1), burst(1 + quiet_h, 2 + quiet_h)])) == 1
    assert len(join([burst(0, 1), burst(1.01 + quiet_h, 2 + quiet_h)])) == 2


def test_a_burst_seen_twice_is_counted_once() -> None:
    (one,) = join([burst(0, 2), burst(1, 2)])
    assert episodes(one) == 1


@pytest.mark.parametrize("falls", [(-0.39, -0.143), (-0.143, -0.39)])
def test_the_evidence_is_of_the_burst_that_the_effect_is_of(falls: tuple[float, float]) -> None:
    parts = [
        replace(burst(hour, hour + 1), effect=fall, evidence=(Evidence(name="fall_share", value=fall),))
        for hour, fall in zip((0, 5), falls, strict=True)
    ]
    (one,) = join(parts)
    assert (one.effect, one.evidence[0].value) == (-0.39, -0.39)


def test_joining_again_changes_nothing() -> None:
    once = join([burst(0, 1), burst(5, 6), burst(60, 61), burst(3, 4, Kind.HUNTING)])
    assert join(once) == once


def test_kinds_are_not_mixed() -> None:
    assert len(join([burst(0, 1), burst(0, 1, Kind.HUNTING)])) == 2


def test_what_has_been_quiet_at_the_end_of_the_readings_is_over() -> None:
    quiet_ms = int(QUIET_S[Kind.AIR_BINDING] * 1000)
    last = START_UTC_MS + HOUR_MS
    assert join([burst(0, 1)], end_utc_ms=last + quiet_ms)[0].active
    assert not join([burst(0, 1)], end_utc_ms=last + quiet_ms + 1)[0].active


def test_pieces_with_lead_in_say_what_the_whole_says() -> None:
    frame = readings(96, interval_s=60.0)
    for hour in (30, 47.9, 71.5):
        frame = without_flow(frame, between(frame, hour * 3600, hour * 3600 + 900), power=1.0, head=1.0)
    whole = fast_findings(frame, CURVE, FACTS)
    pieces = []
    for day in range(4):
        piece = frame[between(frame, day * 86400 - LEAD_IN_S, (day + 1) * 86400)]
        pieces.extend(fast_episodes(piece, CURVE, FACTS))
    assert len(whole) == 3
    assert join(pieces, end_utc_ms=int(frame.index[-1])) == whole
