"""A look that goes on from what it held says what one look at everything says, wherever one cuts."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest

from api.analysis.held_bytes import from_bytes, to_bytes
from api.analytics import accusation, cases, strongest, system, watch
from api.analytics.curve import Curve, learn_curve
from api.analytics.drift import slow_findings, whole_look
from api.analytics.facts import PumpFacts
from api.analytics.finding import Finding, Kind
from api.analytics.hours import hour_rows
from api.analytics.slow_look import Held, SlowLook
from api.analytics.spans import DAY_MS

Pump = Callable[..., pd.DataFrame]
Factor = Callable[[np.ndarray], np.ndarray]


def spells(seed: int, days: int) -> Factor:
    """Losses that come and go, some small, some for good."""
    rng = np.random.default_rng(seed)
    starts = np.sort(rng.uniform(35, days, rng.integers(1, 5)))
    sizes, lasts = rng.uniform(-0.08, 0.03, len(starts)), rng.uniform(1, 60, len(starts))

    def factor(day: np.ndarray) -> np.ndarray:
        lost = np.zeros(len(day))
        for start, size, last in zip(starts, sizes, lasts, strict=True):
            lost += size * ((day >= start) & (day < start + last))
        return 1 + lost

    return factor


def history(make_pump: Pump, facts: PumpFacts, seed: int, days: int = 150) -> pd.DataFrame:
    """Hour rows of a pump with faults of head and of power, stopped now and then for days or weeks."""
    frame = make_pump(
        days,
        seed=seed,
        step_s=1200,
        head_factor=spells(seed, days),
        power_factor=spells(seed + 1000, days) if seed % 2 else None,
        drift=0.003,
    )
    rng = np.random.default_rng(seed + 2000)
    day = (frame.index.to_numpy() - int(frame.index[0])) / DAY_MS
    for start in rng.uniform(30, days, 2):
        frame = frame[(day < start) | (day > start + rng.choice([0.3, 3, 20]))]
        day = (frame.index.to_numpy() - int(frame.index[0])) / DAY_MS
    return hour_rows(frame, facts)


def told_in_pieces(
    hours: pd.DataFrame, curve: Curve | None, facts: PumpFacts, cuts: Sequence[int]
) -> list[Finding]:
    """Return what is told when whole days are taken up to each cut [day], each from what the last held."""

    def between(start: int, end: int) -> pd.DataFrame:
        return hours[(hours.index >= start) & (hours.index < end)]

    told: set[Finding] = set()
    held: Held | None = None
    for first, until in pairwise([0, *cuts]):
        look = SlowLook(curve, facts, between, held)
        look.take(between(first * DAY_MS, until * DAY_MS))
        told |= set(look.settled())
        held = from_bytes(to_bytes(look.held()))
    look = SlowLook(curve, facts, between, held)
    look.take(between(cuts[-1] * DAY_MS, 2**62))
    return list(told | set(look.findings()))


def same(found: list[Finding], expected: list[Finding]) -> None:
    """Assert that two lists say the same, in any order; numbers may differ in their last bits."""
    found, expected = (
        sorted(part, key=lambda finding: (finding.first_utc_ms, finding.kind, finding.last_utc_ms))
        for part in (found, expected)
    )
    assert [(f.kind, f.first_utc_ms, f.last_utc_ms, f.active) for f in found] == [
        (f.kind, f.first_utc_ms, f.last_utc_ms, f.active) for f in expected
    ]
    for one, other in zip(found, expected, strict=True):
        assert one.effect == pytest.approx(other.effect, rel=1e-9)
        assert one.assessable_share == other.assessable_share
        assert [cause.names for cause in one.causes] == [cause.names for cause in other.causes]
        assert [item.value for item in one.evidence] == pytest.approx(
            [item.value for item in other.evidence], rel=1e-6
        )


@pytest.mark.parametrize("seed", range(12))
def test_carried_from_cut_to_cut_is_the_same_as_from_scratch(
    make_pump: Pump, measured: PumpFacts, seed: int
) -> None:
    hours = history(make_pump, measured, seed)
    curve = learn_curve(hours, measured)
    days = np.unique(hours.index.to_numpy() // DAY_MS)
    rng = np.random.default_rng(seed)
    cuts = np.sort(rng.choice(days[30:-1], 12, replace=False)).tolist()
    same(told_in_pieces(hours, curve, measured, cuts), slow_findings(hours, curve, measured))


def test_these_histories_hold_what_there_is_to_carry(make_pump: Pump, measured: PumpFacts) -> None:
    found = []
    for seed in range(12):
        hours = history(make_pump, measured, seed)
        found += slow_findings(hours, learn_curve(hours, measured), measured)
    kinds = {finding.kind for finding in found}
    assert Kind.HEAD_LOSS in kinds
    assert kinds & {Kind.POWER_SHIFT, Kind.POWER_READING_SHIFT, Kind.MECHANICAL_DRAG}
    assert {finding.active for finding in found} == {True, False}


def test_cut_after_each_day_is_the_same_too(make_pump: Pump, measured: PumpFacts) -> None:
    hours = history(make_pump, measured, 3)
    curve = learn_curve(hours, measured)
    cuts = np.unique(hours.index.to_numpy() // DAY_MS)[30:].tolist()
    same(told_in_pieces(hours, curve, measured, cuts), slow_findings(hours, curve, measured))


@pytest.fixture
def short_memory(monkeypatch: pytest.MonkeyPatch) -> None:
    """Windows so short that a history of a year lets most of itself go."""
    monkeypatch.setattr(watch, "LONGEST_LOOK_BACK_DAYS", 40)
    monkeypatch.setattr(accusation, "LONGEST_LOOK_BACK_DAYS", 40)
    monkeypatch.setattr(watch, "BASELINE_ROWS", 20)
    monkeypatch.setattr(cases, "BASELINE_ROWS", 20)
    monkeypatch.setattr(watch, "LATE_ROWS", 16)
    monkeypatch.setattr(strongest, "LEVEL_ROWS", 12)
    monkeypatch.setattr(accusation, "LOOK_BEFORE_DAYS", 15)
    monkeypatch.setattr(cases, "CAUSE_DAYS", 12)
    monkeypatch.setattr(system, "KEPT_DAYS", 30)


@pytest.mark.usefixtures("short_memory")
@pytest.mark.parametrize("seed", range(10))
def test_what_was_let_go_is_not_missed(make_pump: Pump, measured: PumpFacts, seed: int) -> None:
    hours = history(make_pump, measured, seed, days=380)
    curve = learn_curve(hours, measured)
    days = np.unique(hours.index.to_numpy() // DAY_MS)
    rng = np.random.default_rng(seed)
    cuts = np.sort(rng.choice(days[30:-1], 60, replace=False)).tolist()
    same(told_in_pieces(hours, curve, measured, cuts), slow_findings(hours, curve, measured))


@pytest.mark.usefixtures("short_memory")
def test_what_is_held_stays_as_small_while_a_pump_ages_and_a_fault_stands(
    make_pump: Pump, measured: PumpFacts
) -> None:
    frame = make_pump(400, step_s=1200, head_factor=lambda day: np.where(day < 60, 1.0, 0.93))
    hours = hour_rows(frame, measured)
    curve, first = learn_curve(hours, measured), int(hours.index[0])

    def rows_held(days: int) -> tuple[int, int]:
        look = whole_look(hours[hours.index < first + days * DAY_MS], curve, measured)
        held = look.held()
        return len(held.head.rows[0].day), len(held.power.rows[0].day)

    assert rows_held(400) == rows_held(200)
    assert rows_held(400) < (150, 150)
