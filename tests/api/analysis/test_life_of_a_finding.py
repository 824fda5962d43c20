"""The life of a finding, from both sides of each border."""

from __future__ import annotations

from dataclasses import replace

import pytest

from api.analysis.reconcile import Look, reconcile
from api.analytics.finding import Cause, Finding, Kind, Priority
from api.store.stored_finding import Change, State, StoredFinding

HOUR_MS = 3_600_000
WHOLE = Look(kinds=frozenset(Kind), start_utc_ms=0, now_utc_ms=100 * HOUR_MS)


def finding(first_h: float, last_h: float, active: bool = True, kind: Kind = Kind.AIR_BINDING) -> Finding:
    return Finding(
        pump="P1",
        kind=kind,
        first_utc_ms=int(first_h * HOUR_MS),
        last_utc_ms=int(last_h * HOUR_MS),
        active=active,
        priority=Priority.SOON,
        causes=(Cause(names=("air_in_loop",), weight=0.9),),
    )


def stored(item: Finding, number: int = 7, acknowledged_utc_ms: int | None = None) -> StoredFinding:
    return StoredFinding(
        finding_id=number,
        finding=item,
        state=State.ACTIVE if item.active else State.RETURNED_TO_NORMAL,
        acknowledged_utc_ms=acknowledged_utc_ms,
    )


def test_something_new_is_raised() -> None:
    (update,) = reconcile([], [finding(1, 2)], WHOLE)
    assert (update.stored, update.state, update.changes) == (None, State.ACTIVE, (Change.RAISED,))


def test_something_that_was_over_when_found_is_raised_and_returned_at_once() -> None:
    (update,) = reconcile([], [finding(1, 2, active=False)], WHOLE)
    assert update.state is State.RETURNED_TO_NORMAL
    assert update.changes == (Change.RAISED, Change.RETURNED_TO_NORMAL)


def test_an_overlapping_interval_of_the_same_kind_is_the_same_finding() -> None:
    before = stored(finding(1, 2), acknowledged_utc_ms=5)
    (update,) = reconcile([before], [finding(1.5, 3)], WHOLE)
    assert update.stored == before
    assert update.changes == ()
    assert update.finding.last_utc_ms == 3 * HOUR_MS


@pytest.mark.parametrize(
    ("first_h", "kind"), [(2.001, Kind.AIR_BINDING), (1.5, Kind.HUNTING)], ids=["apart", "other kind"]
)
def test_an_interval_apart_or_of_another_kind_is_another_finding(first_h: float, kind: Kind) -> None:
    updates = reconcile(
        [stored(finding(1, 2, active=False))], [finding(1, 2, False), finding(first_h, 3, kind=kind)], WHOLE
    )
    assert [update.stored for update in updates] == [None]


def test_intervals_that_touch_in_one_instant_are_the_same_finding() -> None:
    (update,) = reconcile([stored(finding(1, 2))], [finding(2, 3)], WHOLE)
    assert update.stored is not None


def test_a_finding_that_is_not_active_any_more_has_returned_to_normal() -> None:
    (update,) = reconcile([stored(finding(1, 2))], [finding(1, 2.5, active=False)], WHOLE)
    assert (update.state, update.changes) == (State.RETURNED_TO_NORMAL, (Change.RETURNED_TO_NORMAL,))


def test_a_finding_that_goes_on_is_active_again_under_its_number() -> None:
    (update,) = reconcile([stored(finding(1, 2, active=False))], [finding(1, 4)], WHOLE)
    assert update.changes == (Change.ACTIVE_AGAIN,)


def test_nothing_is_written_when_nothing_has_changed() -> None:
    assert reconcile([stored(finding(1, 2))], [finding(1, 2)], WHOLE) == []


def test_a_finding_inside_the_look_that_is_not_found_again_is_withdrawn_and_not_deleted() -> None:
    (update,) = reconcile([stored(finding(1, 2))], [], WHOLE)
    assert (update.state, update.changes) == (State.WITHDRAWN, (Change.WITHDRAWN,))


def test_a_withdrawn_finding_is_never_touched_again() -> None:
    withdrawn = replace(stored(finding(1, 2, active=False)), state=State.WITHDRAWN)
    assert reconcile([withdrawn], [], WHOLE) == []


def test_a_look_leaves_alone_what_began_before_it_and_is_over() -> None:
    look = replace(WHOLE, start_utc_ms=int(1.5 * HOUR_MS))
    assert reconcile([stored(finding(1, 2, active=False))], [], look) == []


def test_what_stood_before_the_look_and_is_not_found_at_its_end_has_returned_to_normal() -> None:
    look = replace(WHOLE, start_utc_ms=int(1.5 * HOUR_MS))
    (update,) = reconcile([stored(finding(1, 2))], [], look)
    assert update.state is State.RETURNED_TO_NORMAL


def test_the_beginning_before_the_look_is_kept() -> None:
    look = replace(WHOLE, start_utc_ms=3 * HOUR_MS)
    (update,) = reconcile([stored(finding(1, 4))], [finding(3, 5)], look)
    assert (update.finding.first_utc_ms, update.finding.last_utc_ms) == (1 * HOUR_MS, 5 * HOUR_MS)


def test_a_look_into_the_past_does_not_end_what_stands_now() -> None:
    past = replace(WHOLE, end_utc_ms=4 * HOUR_MS, to_the_end=False)
    (update,) = reconcile([stored(finding(1, 9))], [finding(0.5, 3.9)], past)
    assert update.state is State.ACTIVE
    assert (update.finding.first_utc_ms, update.finding.last_utc_ms) == (HOUR_MS // 2, 9 * HOUR_MS)


def test_a_look_into_the_past_raises_nothing_as_active() -> None:
    past = replace(WHOLE, end_utc_ms=4 * HOUR_MS, to_the_end=False)
    (update,) = reconcile([], [finding(1, 3)], past)
    assert update.state is State.RETURNED_TO_NORMAL


def test_two_findings_that_turn_out_to_be_one_go_on_as_the_older() -> None:
    older, newer = stored(finding(1, 2), 3), stored(finding(4, 5), 9)
    updates = reconcile([newer, older], [finding(1, 5)], WHOLE)
    assert [(update.stored and update.stored.finding_id, update.state) for update in updates] == [
        (3, State.ACTIVE),
        (9, State.WITHDRAWN),
    ]


def test_kinds_that_were_not_looked_at_stay_as_they_are() -> None:
    look = replace(WHOLE, kinds=frozenset({Kind.HEAD_LOSS}))
    assert reconcile([stored(finding(1, 2))], [], look) == []


def test_a_new_priority_and_a_new_leading_cause_are_remembered() -> None:
    found = replace(
        finding(1, 2), priority=Priority.URGENT, causes=(Cause(names=("cavitation",), weight=0.8),)
    )
    (update,) = reconcile([stored(finding(1, 2))], [found], WHOLE)
    assert update.changes == (Change.PRIORITY_CHANGED, Change.CAUSES_CHANGED)
