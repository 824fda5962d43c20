"""Pumps that no other fleet has: none breaks the analysis, and no healthy one is called worn or urgent.

Short recordings, one pump of each family; ``tests/bench_odd_pumps.py`` has more of them and the faulty twins.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

import numpy as np
import pytest
from _pytest.mark import ParameterSet

from api.analytics.curve import learn_curve
from api.analytics.drift import slow_findings
from api.analytics.facts import Provenance
from api.analytics.finding import Finding, Kind, Priority
from api.analytics.hours import hour_rows
from api.analytics.not_assessable import judged_share
from tests.fleet_odd.catalogue import CATALOGUE, DUTIES, FAULTS
from tests.fleet_odd.families import Odd, Recording, record
from tests.fleet_odd.judging import fast_of, judge, provenance_looks, share_judged
from tests.fleet_odd.scoring import right_ones

BREAKS_OR_CRIES = {
    "header_meter_of_two": "a header's meter looks like a loss when the other pump is staged",
}
"""What fails today, with the defect; whoever mends it takes the mark away."""
WORTH_BREAKING_ON = [odd.name for odd in (*DUTIES, *FAULTS) if odd.fault]


def families(names: Iterable[str], defects: Mapping[str, str]) -> list[ParameterSet]:
    """Return the families as cases, with those marked that fail today."""
    return [
        pytest.param(
            CATALOGUE[name],
            id=name,
            marks=[pytest.mark.xfail(strict=True, reason=defects[name])] if name in defects else [],
        )
        for name in names
    ]


def said_at_the_end(recording: Recording) -> list[Finding]:
    """Return what the product says of all readings, slow and fast."""
    hours = hour_rows(recording.frame, recording.facts)
    curve = learn_curve(hours, recording.facts)
    return [*slow_findings(hours, curve, recording.facts), *fast_of(recording, hours, curve)]


@pytest.mark.parametrize(
    "odd", families((odd.name for odd in CATALOGUE.values() if odd.is_sound), BREAKS_OR_CRIES)
)
def test_a_healthy_odd_pump_is_judged_and_is_neither_worn_nor_urgent(odd: Odd) -> None:
    said = said_at_the_end(record(odd, 1))
    assert [one.kind for one in said if one.kind is Kind.HEAD_LOSS or one.priority is Priority.URGENT] == []


@pytest.mark.parametrize("odd", families(WORTH_BREAKING_ON, {}))
def test_a_faulty_odd_pump_does_not_break_the_analysis(odd: Odd) -> None:
    assert odd.fault is not None
    said_at_the_end(record(replace(odd, days=int(odd.fault.onset_day) + 10), 1, faulty=True))


@pytest.mark.parametrize(
    "odd",
    families(
        ("one_speed", "power_stuck", "power_restless_and_10_pct_worn"),
        {},
    ),
)
def test_the_share_said_to_be_judged_is_that_of_the_days_that_were(odd: Odd) -> None:
    recording = record(odd, 1, faulty=True)
    hours = hour_rows(recording.frame, recording.facts)
    curve = learn_curve(hours, recording.facts)
    said = judged_share(hours, curve, recording.facts)
    assert said == pytest.approx(share_judged(hours, curve, recording.facts), abs=0.1)


@pytest.mark.parametrize(
    "odd",
    families((f"random_starts_{each}_an_hour" for each in (1, 2, 3)), {}),
)
def test_calls_at_random_as_ever_are_no_repeated_starts(odd: Odd) -> None:
    recording = record(odd, 0)
    hours = hour_rows(recording.frame, recording.facts)
    said = fast_of(recording, hours, learn_curve(hours, recording.facts))
    assert [one for one in said if one.kind is Kind.REPEATED_STARTS] == []


@pytest.mark.parametrize(
    "odd",
    families(("damped_0.2", "damped_0.1", "damped_0.05"), {}),
)
def test_a_quiet_sensor_is_not_called_an_estimate(odd: Odd) -> None:
    assert not any(provenance_looks(record(replace(odd, days=20), 0), 2))


@pytest.mark.parametrize("called", [Provenance.MEASURED, Provenance.ESTIMATED])
def test_of_a_sensor_as_quiet_as_a_computation_nothing_is_told_whatever_it_was_called(
    called: Provenance,
) -> None:
    recording = record(replace(CATALOGUE["damped_0.05"], days=20), 1)
    facts = replace(recording.facts, flow=called, head=called)
    assert not any(provenance_looks(replace(recording, facts=facts), 2))


def test_what_a_drive_computes_but_was_called_measured_is_contradicted_at_every_look() -> None:
    assert all(provenance_looks(record(replace(CATALOGUE["estimate_called_measured"], days=20), 0), 2))


def test_a_computed_head_that_is_one_reading_late_is_contradicted_at_every_look() -> None:
    assert all(provenance_looks(record(replace(CATALOGUE["estimate_one_late"], days=20), 0), 2))


def test_the_same_seed_draws_the_same_readings() -> None:
    first, second = (record(CATALOGUE["one_duty"], 3).frame for _ in range(2))
    assert first.equals(second)


def test_a_faulty_twin_is_its_healthy_pump_until_the_onset() -> None:
    odd = CATALOGUE["mondays_only"]
    sound, faulty = record(odd, 2), record(odd, 2, faulty=True)
    before = sound.frame.index < (faulty.onset_utc_ms or 0)
    assert sound.frame[before].equals(faulty.frame[before])
    assert not sound.frame[~before].equals(faulty.frame[~before])


def test_a_worn_twin_has_lost_its_share_of_head() -> None:
    quiet = replace(CATALOGUE["one_duty"].sensors, noise=0.0, drift=0.0, head_step_m=0.001)
    odd = replace(CATALOGUE["one_duty"], sensors=quiet)
    recording = record(odd, 0, faulty=True)
    head, later = recording.frame["head_m"], recording.frame.index >= (recording.onset_utc_ms or 0)
    assert head[later].mean() / head[~later].mean() - 1 == pytest.approx(-recording.size, abs=1e-3)


def test_onsets_fall_on_all_hours_of_the_day() -> None:
    onsets = [record(CATALOGUE["one_duty"], seed, faulty=True).onset_utc_ms or 0 for seed in range(12)]
    hours = np.array(onsets) % 86_400_000 / 3_600_000
    assert hours.min() < 8
    assert hours.max() > 16


def test_what_ends_an_analysis_is_an_outcome_and_is_named() -> None:
    recording = record(CATALOGUE["one_duty"], 0)
    broken = replace(recording, frame=recording.frame.drop(columns="head_m"))
    assert judge(broken).broke_on.startswith("KeyError")
    assert judge(broken).years == 0


def test_what_was_told_before_the_fault_is_no_find() -> None:
    odd = replace(CATALOGUE["head_step_power_falls"], days=60, step_s=600)
    outcome = judge(record(odd, 0, faulty=True))
    assert right_ones(outcome)
    early = tuple(replace(one, raised_utc_ms=0) for one in outcome.told)
    assert right_ones(replace(outcome, told=early)) == []
