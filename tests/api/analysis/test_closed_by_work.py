"""Recorded work that starts a new baseline ends what was said of the pump before, on its own day."""

from __future__ import annotations

import pytest

from api.analysis.reconcile import Look, reconcile
from api.analytics.finding import Cause, Finding, Kind, Priority
from api.store.stored_finding import Change, State, StoredFinding
from dashboards.wording.terms import CHANGES

DAY_MS = 86_400_000
WORK_DAY = 12
AFTER_WORK = Look(
    kinds=frozenset(Kind), start_utc_ms=WORK_DAY * DAY_MS, now_utc_ms=25 * DAY_MS, after_work=True
)


def finding(first_day: float, last_day: float, kind: Kind = Kind.HEAD_LOSS, active: bool = True) -> Finding:
    return Finding(
        pump="P1",
        kind=kind,
        first_utc_ms=int(first_day * DAY_MS),
        last_utc_ms=int(last_day * DAY_MS),
        active=active,
        priority=Priority.PLANNED,
        causes=(Cause(names=("impeller_wear",), weight=0.9),),
    )


def stored(item: Finding) -> StoredFinding:
    state = State.ACTIVE if item.active else State.RETURNED_TO_NORMAL
    return StoredFinding(finding_id=7, finding=item, state=state)


@pytest.mark.parametrize("active", [True, False])
def test_a_finding_that_reached_beyond_the_work_ends_on_its_day(active: bool) -> None:
    (update,) = reconcile([stored(finding(1, 25, active=active))], [], AFTER_WORK)
    assert (update.state, update.changes) == (State.RETURNED_TO_NORMAL, (Change.CLOSED_BY_WORK,))
    assert update.finding.last_utc_ms == WORK_DAY * DAY_MS - 1
    assert not update.finding.active


def test_it_is_closed_once() -> None:
    (update,) = reconcile([stored(finding(1, 25))], [], AFTER_WORK)
    assert reconcile([stored(update.finding)], [], AFTER_WORK) == []


def test_what_ended_before_the_work_stays_as_it_was_told() -> None:
    assert reconcile([stored(finding(1, 10, active=False))], [], AFTER_WORK) == []


def test_what_is_found_after_the_work_is_another_finding() -> None:
    updates = reconcile([stored(finding(1, 25))], [finding(14, 25)], AFTER_WORK)
    assert {update.changes for update in updates} == {(Change.RAISED,), (Change.CLOSED_BY_WORK,)}


def test_what_began_after_the_work_goes_on() -> None:
    (update,) = reconcile([stored(finding(14, 24))], [finding(14, 25)], AFTER_WORK)
    assert (update.stored is not None, update.changes) == (True, ())


def test_what_cannot_be_judged_is_not_ended_by_work() -> None:
    blind = finding(1, 24, Kind.NOT_ASSESSABLE)
    (update,) = reconcile([stored(blind)], [finding(12, 25, Kind.NOT_ASSESSABLE)], AFTER_WORK)
    assert update.stored is not None
    assert update.finding.first_utc_ms == blind.first_utc_ms


def test_without_a_new_baseline_nothing_is_closed_by_work() -> None:
    look = Look(kinds=frozenset(Kind), start_utc_ms=WORK_DAY * DAY_MS, now_utc_ms=25 * DAY_MS)
    (update,) = reconcile([stored(finding(1, 25))], [], look)
    assert update.changes == (Change.RETURNED_TO_NORMAL,)


def test_every_change_of_a_finding_has_words() -> None:
    assert {Change.CLOSED_BY_WORK, Change.WITHDRAWN, Change.RETURNED_TO_NORMAL} <= set(CHANGES)
    assert CHANGES[Change.CLOSED_BY_WORK] == "closed by recorded work"
