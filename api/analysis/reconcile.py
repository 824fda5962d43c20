"""How what analysis finds now meets what is stored: the life of a finding, as a pure function."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final

from api.analytics.finding import Finding, Kind
from api.store.stored_finding import Change, FindingUpdate, State, StoredFinding

END_OF_TIME_MS: Final = 2**62


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """What was looked at: these kinds of one pump, from ``start_utc_ms`` up to ``end_utc_ms`` (exclusive).

    ``to_the_end`` says that the look reached the pump's newest data, so that it may say what is active
    now. Outside a look's interval nothing stored is touched. ``after_work`` says that the look began because
    recorded work did away with what was before: findings of before end with it.
    """

    kinds: Collection[Kind]
    start_utc_ms: int
    end_utc_ms: int = END_OF_TIME_MS
    to_the_end: bool = True
    now_utc_ms: int
    after_work: bool = False

    def ends(self, finding: Finding) -> bool:
        """Return whether the work that this look follows ended a finding; what is not known of it goes on."""
        began_before = finding.first_utc_ms < self.start_utc_ms
        return self.after_work and began_before and finding.kind is not Kind.NOT_ASSESSABLE


def reconcile(stored: Sequence[StoredFinding], found: Sequence[Finding], look: Look) -> list[FindingUpdate]:
    """Return what must be written so that the stored findings of one pump say what was found.

    A finding's identity is its pump, its kind and an overlapping interval. Matched ones keep their number
    and acknowledgement; a stored one inside the look that was not found again is withdrawn; one that
    stood before the look began and was not found at its end has returned to normal.
    """
    candidates = sorted(
        (item for item in stored if item.state is not State.WITHDRAWN and item.finding.kind in look.kinds),
        key=lambda item: (item.finding.first_utc_ms, item.finding_id),
    )
    updates: list[FindingUpdate] = []
    for finding in sorted(found, key=lambda item: item.first_utc_ms):
        same = [item for item in candidates if is_same(item.finding, finding) and not look.ends(item.finding)]
        updates.append(_matched(same[0], finding, look) if same else _raised(finding, look))
        updates += [_ended(item, State.WITHDRAWN, Change.MERGED) for item in same[1:]]
        candidates = [item for item in candidates if item not in same]
    updates += _not_found(candidates, look)
    return [update for update in updates if _says_something_new(update)]


def is_same(stored: Finding, found: Finding) -> bool:
    """Return whether two findings of one pump are one: same kind, about the same, overlapping intervals."""
    return (
        stored.kind is found.kind
        and _about(stored) == _about(found)
        and stored.first_utc_ms <= found.last_utc_ms
        and found.first_utc_ms <= stored.last_utc_ms
    )


def _about(finding: Finding) -> object:
    """Return what else tells two findings of one kind apart: two fault codes may stand at one time."""
    if finding.kind is Kind.DRIVE_FAULT:
        return finding.effect
    return _leading_cause(finding) if finding.kind is Kind.NOT_ASSESSABLE else None


def _raised(finding: Finding, look: Look) -> FindingUpdate:
    active = finding.active and look.to_the_end
    state = State.ACTIVE if active else State.RETURNED_TO_NORMAL
    changes = (Change.RAISED,) if active else (Change.RAISED, Change.RETURNED_TO_NORMAL)
    return FindingUpdate(stored=None, finding=replace(finding, active=active), state=state, changes=changes)


def _matched(stored: StoredFinding, found: Finding, look: Look) -> FindingUpdate:
    before = stored.finding
    beyond = before.last_utc_ms >= look.end_utc_ms
    active = before.active if beyond or not look.to_the_end else found.active
    merged = replace(
        found,
        first_utc_ms=min(before.first_utc_ms, found.first_utc_ms)
        if before.first_utc_ms < look.start_utc_ms
        else found.first_utc_ms,
        last_utc_ms=max(before.last_utc_ms, found.last_utc_ms) if beyond else found.last_utc_ms,
        active=active,
    )
    state = State.ACTIVE if active else State.RETURNED_TO_NORMAL
    return FindingUpdate(
        stored=stored, finding=merged, state=state, changes=tuple(_changes(stored, merged, state))
    )


def _changes(stored: StoredFinding, merged: Finding, state: State) -> Iterable[Change]:
    if state is not stored.state:
        yield Change.ACTIVE_AGAIN if state is State.ACTIVE else Change.RETURNED_TO_NORMAL
    if merged.priority is not stored.finding.priority:
        yield Change.PRIORITY_CHANGED
    if _leading_cause(merged) != _leading_cause(stored.finding):
        yield Change.CAUSES_CHANGED


def _leading_cause(finding: Finding) -> tuple[str, ...]:
    return finding.causes[0].names if finding.causes else ()


def _not_found(candidates: Sequence[StoredFinding], look: Look) -> Iterable[FindingUpdate]:
    for item in candidates:
        finding = item.finding
        if look.ends(finding):
            if finding.last_utc_ms >= look.start_utc_ms or finding.active:
                yield _closed_by_work(item, look)
        elif look.start_utc_ms <= finding.first_utc_ms and finding.last_utc_ms < look.end_utc_ms:
            yield _ended(item, State.WITHDRAWN, Change.WITHDRAWN)
        elif finding.active and look.to_the_end:
            yield _ended(item, State.RETURNED_TO_NORMAL, Change.RETURNED_TO_NORMAL)


def _closed_by_work(item: StoredFinding, look: Look) -> FindingUpdate:
    last = min(item.finding.last_utc_ms, look.start_utc_ms - 1)
    finding = replace(item.finding, active=False, last_utc_ms=last)
    state, what = State.RETURNED_TO_NORMAL, Change.CLOSED_BY_WORK
    return FindingUpdate(stored=item, finding=finding, state=state, changes=(what,))


def _ended(item: StoredFinding, state: State, what: Change) -> FindingUpdate:
    return FindingUpdate(
        stored=item, finding=replace(item.finding, active=False), state=state, changes=(what,)
    )


def _says_something_new(update: FindingUpdate) -> bool:
    return (
        update.stored is None
        or update.stored.finding != update.finding
        or update.stored.state != update.state
    )
