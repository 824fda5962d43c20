"""Work that did away with a fault is told from work that was only recorded, on simulated pumps.

Counts over many pumps: ``python -m tests.bench_repairs``.
"""

from __future__ import annotations

from functools import cache

import pytest

from api.analytics.repair import Quantity
from tests.fleet.repairs import Judged, Trial, judged

AFTER_DAYS = (1.0, 14.0)


@cache
def told(work: str, family: str, is_healed: bool) -> tuple[Judged, ...]:
    return tuple(judged(Trial(work=work, family=family, seed=3, is_healed=is_healed), AFTER_DAYS))


@pytest.mark.parametrize("family", ["A", "B", "C"])
@pytest.mark.parametrize("work", ["ring", "drag"])
def test_a_repair_that_worked_is_told_so_and_never_otherwise(work: str, family: str) -> None:
    first, last = told(work, family, True)
    assert set(last.verdicts) == {"worked"}
    assert set(first.verdicts) <= {"worked", "too_early"}


@pytest.mark.parametrize("family", ["A", "B", "C"])
@pytest.mark.parametrize("work", ["ring", "drag"])
def test_work_that_was_only_recorded_is_told_not_to_have_worked(work: str, family: str) -> None:
    first, last = told(work, family, False)
    assert set(last.verdicts) == {"did_not_work"}
    assert set(first.verdicts) <= {"did_not_work", "too_early"}


@pytest.mark.parametrize("family", ["A", "B", "C"])
def test_head_that_came_back_is_back_on_its_own_curve(family: str) -> None:
    head = told("ring", family, True)[1].effect.measured[Quantity.HEAD]
    assert head.before == pytest.approx(-0.05, abs=0.012)
    assert head.since_low <= 0.0 <= head.since_high


@pytest.mark.parametrize("family", ["A", "B", "C"])
def test_the_pump_is_credited_with_what_the_repair_saved_and_with_no_other_load(family: str) -> None:
    """The pump's own part of the change of energy per volume falls within what the days' means tell of it."""
    effect = told("ring", family, True)[1].effect
    assert effect.energy is not None
    own = effect.energy.parts[next(part for part in effect.energy.parts if part == "pump")]
    share = own / effect.energy.before_kwh_per_m3
    energy = effect.measured[Quantity.ENERGY]
    assert energy.change < -0.02
    assert share == pytest.approx(energy.change, abs=0.02)


def test_gas_that_was_vented_is_gone_and_gas_that_was_not_is_seen_again() -> None:
    vented, not_vented = told("air", "A", True)[1], told("air", "A", False)[1]
    assert vented.verdicts == ("worked",)
    assert not_vented.verdicts == ("did_not_work",)
    assert not_vented.effect.answered[0].seen_again_utc_ms is not None
