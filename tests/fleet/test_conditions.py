"""Conditions told apart on simulated pumps, one of each: what the benchmark counts, as promises."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from api.analytics.curve import learn_curve
from api.analytics.drift import slow_findings
from api.analytics.finding import INFORMATION_KINDS, Finding, Kind
from api.analytics.hours import hour_rows
from collector.quantities import QUANTITY_NAMES
from simulator.plant import build_pump
from simulator.plant.spec import Fault
from tests.bench_diagnosis import class_rows
from tests.fleet.cases import START_UTC_MS, Case, run
from tests.fleet.classes import CLASSES, UNDECIDED, Answer, Condition, answer


@pytest.mark.parametrize("truth", CLASSES)
def test_each_condition_is_answered_with_its_name_or_left_open(truth: str) -> None:
    said = Counter(answer(Condition(family="A", seed=60_001 + k, truth=truth)).said for k in range(3))
    assert set(said) <= {truth, UNDECIDED}
    assert said[truth] >= 1


def test_the_same_seed_is_the_same_pump_with_the_same_fault() -> None:
    one, other = (Condition(family="B", seed=60_004, truth="wear").spec() for _ in range(2))
    assert one == other


def test_an_answer_left_open_counts_as_none() -> None:
    condition = Condition(family="A", seed=1, truth="wear")
    given = [
        Answer(condition=condition, said=said, findings=()) for said in ("wear", "air", UNDECIDED, "wear")
    ]
    rows = list(class_rows(given))
    assert "66.7%" in rows[0]
    assert "75.0%" in rows[1]


@pytest.mark.parametrize("seed", range(700, 706))
def test_glycol_that_was_filled_accuses_no_pump(seed: int) -> None:
    filled = Case(family="ABC"[seed % 3], seed=seed, days=88, fault="glycol_filled", severity=0.3)
    assert run(filled).alarms == 0


def gassed(case: Case, severity: float) -> list[Finding]:
    """Slow findings of a pump that gas never leaves, read every minute."""
    gas = Fault(kind="air", start_utc_ms=case.onset_utc_ms, severity=severity, period_s=2700.0)
    times = START_UTC_MS + np.arange(case.days * 1440, dtype=np.int64) * 60_000
    reported = build_pump(replace(case.spec(), faults=(gas,)), case.seed).advance(times).reported
    index = pd.Index(times, name="time_utc_ms")
    frame = pd.DataFrame({name: reported[name] for name in QUANTITY_NAMES}, index=index)
    facts = replace(case.facts(), interval_s=60.0)
    hours = hour_rows(frame, facts)
    return slow_findings(hours, learn_curve(hours, facts), facts)


@pytest.mark.parametrize(("family", "seed"), [("A", 900), ("B", 901), ("C", 902), ("C", 905), ("C", 908)])
@pytest.mark.parametrize("severity", [0.03, 0.08])
def test_gas_that_stays_is_neither_wear_nor_a_shift_of_power(family: str, seed: int, severity: float) -> None:
    found = gassed(Case(family=family, seed=seed, days=80), severity)
    assert [finding.kind for finding in found if finding.kind not in INFORMATION_KINDS] == []


@pytest.mark.parametrize("seed", range(720, 726))
def test_a_leak_is_not_taken_for_a_head_sensor(seed: int) -> None:
    leak = Case(family="A", seed=seed, days=85, fault="ring_leakage", severity=0.06, at_duty=True)
    finding = run(leak).pump_alarms[0]
    assert finding.kind is Kind.HEAD_LOSS
    assert "ring_leakage" in finding.causes[0].names


@pytest.mark.parametrize("seed", range(726, 732))
@pytest.mark.parametrize("shift", [-0.05, 0.05])
def test_a_head_sensor_that_shifted_is_named(seed: int, shift: float) -> None:
    shifted = Case(family="A", seed=seed, days=85, fault="head_gauge_shift", severity=shift)
    (found,) = run(shifted).pump_alarms
    # Where head hardly moves, an amount that is missing is like a share, and a share may be the pump's.
    first = set(found.causes[0].names)
    assert found.kind is Kind.HEAD_SENSOR_SHIFT or first & {"head_sensor_gain_fell", "head_sensor_reads_low"}
