"""What recorded field checks say: worked out of what was kept, with the facts as they are stated now."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any, Final

from api.analysis.pump_pass import curve_of
from api.analytics.curve import Curve
from api.analytics.facts import PumpFacts
from api.analytics.field_check import (
    Agreement,
    Beside,
    Found,
    Loss,
    Point,
    Reported,
    Verdict,
    Visit,
    agreement,
    likely_causes,
    losses,
    unit_mistake,
)
from api.answers.source import Source
from api.store.field_checks import StoredFieldCheck
from collector.site import Pump
from dashboards.field_check_views import BesideView, FieldCheckLine, FieldCheckView, LossView

SAME_VISIT_MS: Final = 24 * 3_600_000
"""A shutoff test and a check at flow within a day, and no work between, are of one state of the pump (our own
choice)."""


def computed_of(seen: Found, reports: Mapping[str, Reported], visit: Visit, minutes: float) -> dict[str, Any]:
    """Return what was found as plain values to keep."""
    head = seen.head
    return {
        "minutes": minutes,
        "head_m": head.head_m if head else None,
        "head_sd_m": head.sd_m if head else None,
        "parts_m": {"pressure": head.pressure_m, "height": head.height_m, "velocity": head.velocity_m}
        if head
        else {},
        "from_m": dict(head.from_m) if head else {},
        "flow_m3h": seen.flow_m3h,
        "flow_sd_m3h": seen.flow_sd_m3h,
        "flow_from": seen.flow_from or "",
        "point": asdict(seen.point) if seen.point else None,
        "unplaced": seen.unplaced,
        "reports": {name: asdict(each) for name, each in reports.items()},
        "sheet_grade": visit.sheet_grade,
        "typed_speed_rpm": visit.speed_rpm,
    }


def field_check_views(source: Source, pump: Pump) -> tuple[FieldCheckView, ...]:
    """Return a pump's field checks with what each says, oldest first, corrected ones as well."""
    stored = source.api_store.field_checks(pump.name)
    if not stored:
        return ()
    facts = source.facts(pump)
    said = _Said(stored, facts, curve_of(source.api_store, facts))
    return tuple(said.view(each) for each in stored)


def assessed(source: Source, pump: Pump) -> FieldCheckLine | None:
    """Return the newest assessment of a pump since its last new baseline, ``None`` without one."""
    views = [view for view in field_check_views(source, pump) if view.corrected_by is None and view.losses]
    if not views:
        return None
    newest, events = _at_duty_if_any(views), source.api_store.events(pump.name)
    later = [event for event in events if event.time_utc_ms > newest.at_utc_ms]
    if any(event.new_baseline for event in later):
        return None
    best = newest.losses[0]
    return FieldCheckLine(
        at_utc_ms=newest.at_utc_ms,
        effect=best.effect,
        low=best.low,
        high=best.high,
        by=best.by,
        is_before_work=bool(later),
    )


def _at_duty_if_any(views: Sequence[FieldCheckView]) -> FieldCheckView:
    """Return the newest check; of a visit with a shutoff test and a check at flow the latter.

    Worn rings hardly show at shutoff, so that test alone would call a worn pump well.
    """
    newest = views[-1]
    of_visit = [
        view
        for view in views
        if newest.at_utc_ms - view.at_utc_ms <= SAME_VISIT_MS and view.flow_from != "shutoff"
    ]
    return of_visit[-1] if of_visit else newest


_AS_A_FACTOR: Final = (Agreement.DIFFERS, Agreement.GAIN, Agreement.OFFSET_OR_GAIN)


class _Said:
    """What the checks of one pump say of each other and of the pump."""

    def __init__(self, stored: Sequence[StoredFieldCheck], facts: PumpFacts, curve: Curve | None) -> None:
        self._valid = [each for each in stored if each.corrected_by is None]
        self._facts, self._curve = facts, curve

    def view(self, stored: StoredFieldCheck) -> FieldCheckView:
        check, computed = stored.check, stored.check.computed
        head, sd = computed["head_m"], computed["head_sd_m"]
        found = self._losses(stored)
        causes = self._causes(stored, found)
        beside = self._beside(stored)
        speed = computed["reports"].get("speed_rpm", {}).get("mean")
        point = computed["point"]
        return FieldCheckView(
            check_id=stored.check_id,
            at_utc_ms=check.at_utc_ms,
            minutes=computed["minutes"],
            by_role=check.by_role,
            note=check.note,
            typed=check.typed,
            head_m=head,
            head_low_m=None if head is None else head - 2 * sd,
            head_high_m=None if head is None else head + 2 * sd,
            parts_m=computed["parts_m"],
            from_m=computed["from_m"],
            flow_m3h=computed["flow_m3h"],
            flow_from=computed["flow_from"],
            speed_rpm=point["speed_rpm"] if point else speed,
            unplaced=computed["unplaced"],
            losses=tuple(_loss_view(each) for each in found),
            beside=beside,
            causes=causes,
            checks=_next(computed, found, causes, beside),
            corrects=check.corrects,
            corrected_by=stored.corrected_by,
        )

    def _losses(self, stored: StoredFieldCheck) -> tuple[Loss, ...]:
        begin, end = self._epoch(stored.check.at_utc_ms)
        earlier = [
            point
            for each in self._valid
            if begin <= each.check.at_utc_ms < stored.check.at_utc_ms - SAME_VISIT_MS
            and (point := _point(each))
        ]
        # The curve that is learned now is of the present baseline alone.
        curve = self._curve if end is None else None
        seen = _found(stored)
        visit = Visit(sheet_grade=stored.check.computed["sheet_grade"])
        return losses(seen, visit, self._facts, curve, earlier)

    def _epoch(self, at_utc_ms: int) -> tuple[int, int | None]:
        """Return from when to when the pump was as it was then; ``None``: it still is."""
        starts = sorted(event.time_utc_ms for event in self._facts.events if event.new_baseline)
        begin = max((start for start in starts if start <= at_utc_ms), default=0)
        return begin, next((start for start in starts if start > at_utc_ms), None)

    def _causes(self, stored: StoredFieldCheck, found: tuple[Loss, ...]) -> tuple[str, ...]:
        if not found:
            return ()
        is_shutoff = stored.check.computed["flow_from"] == "shutoff"
        other = next((each for each in reversed(self._valid) if self._is_twin(stored, each)), None)
        twins = {loss.by: loss for loss in self._losses(other)} if other else {}
        mine, twin = found[0], twins.get(found[0].by)
        return likely_causes(twin, mine) if is_shutoff else likely_causes(mine, twin)

    def _is_twin(self, stored: StoredFieldCheck, other: StoredFieldCheck) -> bool:
        """Whether the other check is the shutoff test to this check at flow, or the reverse, in one state."""
        one, two = stored.check, other.check
        first, last = sorted((one.at_utc_ms, two.at_utc_ms))
        is_other_kind = (one.computed["flow_from"] == "shutoff") != (two.computed["flow_from"] == "shutoff")
        worked = any(first < event.time_utc_ms <= last for event in self._facts.events)
        return is_other_kind and last - first <= SAME_VISIT_MS and not worked and _point(other) is not None

    def _beside(self, stored: StoredFieldCheck) -> tuple[BesideView, ...]:
        return tuple(self._one_beside(stored, name, beside) for name, beside in _found(stored).beside.items())

    def _one_beside(self, stored: StoredFieldCheck, name: str, beside: Beside) -> BesideView:
        begin, end = self._epoch(stored.check.at_utc_ms)
        others = [
            same
            for each in self._valid
            if begin <= each.check.at_utc_ms < (end or each.check.at_utc_ms + 1)
            and each.check_id != stored.check_id
            and (same := _found(each).beside.get(name))
        ]
        told = agreement([beside, *others]) if others and not beside.agrees else agreement([beside])
        return BesideView(
            quantity=name,
            measured=beside.measured,
            low=beside.measured - 2 * beside.measured_sd,
            high=beside.measured + 2 * beside.measured_sd,
            drive=beside.drive.mean,
            count=beside.drive.count,
            agreement=str(told),
            declared=str(getattr(self._facts, name.split("_")[0])),
            unit_mistake=(unit_mistake(beside) or "") if told in _AS_A_FACTOR else "",
        )


def _loss_view(found: Loss) -> LossView:
    low, high = found.interval
    return LossView(by=found.by, effect=found.effect, low=low, high=high, verdict=str(found.verdict))


def _point(stored: StoredFieldCheck) -> Point | None:
    point = stored.check.computed["point"]
    return Point(**point) if point else None


def _found(stored: StoredFieldCheck) -> Found:
    computed = stored.check.computed
    reports = {name: Reported(**each) for name, each in computed["reports"].items()}
    flow = computed["flow_m3h"] if computed["flow_from"] == "strap_on" else None
    speed = computed["typed_speed_rpm"]
    measured = {
        "head_m": (computed["head_m"], computed["head_sd_m"]),
        "flow_m3h": (flow, computed["flow_sd_m3h"]),
        "speed_rpm": (speed, computed["point"]["speed_sd_rpm"] if computed["point"] else 0.0),
    }
    return Found(
        head=None,
        flow_m3h=computed["flow_m3h"],
        flow_sd_m3h=computed["flow_sd_m3h"],
        flow_from=computed["flow_from"] or None,
        point=_point(stored),
        unplaced=computed["unplaced"],
        beside={
            name: Beside(measured=value, measured_sd=sd, drive=reports[name])
            for name, (value, sd) in measured.items()
            if value is not None and name in reports
        },
    )


def _next(
    computed: Mapping[str, Any],
    found: tuple[Loss, ...],
    causes: tuple[str, ...],
    beside: tuple[BesideView, ...],
) -> tuple[str, ...]:
    """Return what to do next, as codes of ``dashboards.wording.field_checks``."""
    steps = []
    if any(each.unit_mistake for each in beside):
        steps.append("register_addresses")
    elif any(_may_be_set_right(each) for each in beside):
        steps.append("check_second_duty")
    steps += [_NEXT_UNPLACED[computed["unplaced"]]] if computed["unplaced"] in _NEXT_UNPLACED else []
    if computed["point"] and not found:
        steps.append("type_in_data_sheet")
    verdict = found[0].verdict if found else None
    if verdict is Verdict.ABOVE:
        steps += ["read_gauges_again", "which_impeller"]
    if verdict is Verdict.BELOW:
        is_told = len(causes) == 1 or computed["flow_from"] == "shutoff"
        steps += ["plan_opening"] if is_told else ["shutoff_head_test", "plan_opening"]
    return tuple(steps)


def _may_be_set_right(beside: BesideView) -> bool:
    """Whether a second duty would help: a computed value stays computed, and a speed is read once more."""
    is_of_pump = beside.quantity != "speed_rpm" and beside.declared != "estimated"
    return beside.agreement == "differs" and is_of_pump


_NEXT_UNPLACED: Final = {
    "no_gauges": "read_gauges_too",
    "no_own_flow": "strap_on_or_shutoff",
    "no_speed": "read_speed",
    "not_steady": "hold_speed",
    "no_head": "read_gauges_again",
}
