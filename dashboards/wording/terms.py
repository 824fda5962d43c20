"""Short words for quantities, states, priorities, qualities, provenance, service events and evidence."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from dashboards.display import BOUND, NOTHING, amount, number, percent, signed_percent, unit_of
from dashboards.moments import span_words
from dashboards.views import UnitSystem
from dashboards.wording import plain


@dataclass(frozen=True, slots=True)
class QuantityWords:
    """A quantity: its short name and what it is."""

    name: str
    what: str


QUANTITIES: Final[dict[str, QuantityWords]] = {
    "speed_rpm": QuantityWords("Speed", "Shaft speed."),
    "power_w": QuantityWords("Power", "Electrical input power, at the drive."),
    "flow_m3h": QuantityWords("Flow", "Volume flow through the pump."),
    "head_m": QuantityWords("Head", "Total head that the pump adds, as height of the fluid itself."),
    "efficiency": QuantityWords(
        "Wire to water", "Efficiency: power given to the water over electrical power taken by the drive."
    ),
    "fluid_temperature_c": QuantityWords("Fluid", "Temperature of the fluid."),
    "drive_temperature_c": QuantityWords("Drive", "Temperature of the drive."),
    "current_a": QuantityWords("Current", "Motor current. It says little below half load; power says more."),
    "energy_kwh": QuantityWords("Energy counter", "The drive's own energy counter."),
    "run_time_h": QuantityWords("Run hours", "The drive's own run-hour counter."),
    "starts": QuantityWords("Starts", "The drive's own start counter."),
    "speed_command_pct": QuantityWords("Speed command", "Speed asked for from outside."),
    "status_word": QuantityWords("Status bits", "Status as the drive reports it."),
    "fault_code": QuantityWords("Fault code", "0 means that the drive reports none."),
    "kwh_per_m3": QuantityWords(
        "Energy per volume", "Energy of all running hours over volume of all running hours: a ratio of sums."
    ),
    "volume_m3": QuantityWords("Volume", "Volume moved."),
}

STATES: Final = {
    "running": "Running",
    "standing": "Standing still",
    "no_reply": "No reply",
    "refused": "Refuses to be read",
    "damaged": "Damaged answers",
    "no_link": "No link",
    "echo": "Only an echo",
    "no_data": "No readings yet",
    "old": "No readings lately",
    "active": "Active",
    "returned_to_normal": "Returned to normal",
}
PRIORITIES: Final = {
    "urgent": "Urgent",
    "soon": "Soon",
    "planned": "Plan it",
    "information": "For information",
}
PRIORITY_ORDER: Final = tuple(PRIORITIES)
PRIORITY_MARKS: Final = {"urgent": "◆", "soon": "▲", "planned": "■", "information": "○"}
"""A shape for each priority, so that colour never stands alone."""
QUALITIES: Final = {
    "good": "",
    "no_value": "the drive says it has no value",
    "impossible": "an impossible value was sent and set aside",
    "refused": "the drive refuses this register",
    "no_reply": "no reply for this value",
    "unreadable": "not a number in the trend log",
}
PROVENANCES: Final = {
    "measured": "measured",
    "estimated": "estimated by the drive",
    "unknown": "not stated whether measured",
}
SERVICES: Final = {
    "vented": "vented",
    "strainer_cleaned": "strainer cleaned",
    "seal_replaced": "seal replaced",
    "impeller_changed": "impeller changed",
    "ring_replaced": "wearing ring replaced",
    "bearing_replaced": "bearing replaced",
    "aligned": "aligned",
    "coupling_checked": "coupling checked",
    "seal_inspected": "seal inspected",
    "greased": "greased",
    "filter_changed": "filter cleaned or changed",
    "turned_by_hand": "turned by hand",
    "fluid_changed": "fluid changed",
    "glycol_added": "glycol added",
    "rebalanced": "system rebalanced",
    "valve_set": "valve set",
    "repaired": "repaired",
    "other_upkeep": "other upkeep",
}
CHANGES: Final = {
    "opened": "first seen",
    "found": "first seen",
    "raised": "first seen",
    "updated": "brought up to date",
    "returned_to_normal": "returned to normal",
    "active_again": "active again",
    "reopened": "active again",
    "acknowledged": "acknowledged",
    "closed_by_work": "closed by recorded work",
    "withdrawn": "withdrawn by a new analysis",
}
ROLES: Final = {"technician": "Technician", "engineer": "Engineer", "manager": "Manager"}

EVIDENCE: Final[dict[str, str]] = {
    "head_residual_fraction": "head against the own curve",
    "power_residual_fraction": "power against the own curve",
    "efficiency_change_fraction": "wire-to-water efficiency against before",
    "system_coefficient_ratio": "system's resistance, times what it was",
    "head_at_duty_m": "head at the usual duty",
    "own_curve_head_at_duty_m": "head on the own curve there",
    "flow_at_duty_m3h": "flow at the usual duty",
    "speed_at_duty_rpm": "speed at the usual duty",
    "hours_used": "hours of readings used",
    "hours_in_baseline": "hours judged before it began",
    "evidence_z": "strength of the evidence, in standard errors",
    "episodes": "times it was seen",
    "flow_share_of_usual": "flow, of what is usual",
    "power_share_of_zero_flow_power": "power, of what it takes without flow",
    "head_share_of_shutoff_head": "head, of the shutoff head",
    "speed_rpm": "speed",
    "by_data_sheet": "judged by the data sheet's curve, for want of an own one",
    "fall_share": "fall in the strongest burst",
    "scatter_ratio": "scatter, times the usual",
    "starts_counted": "starts counted",
    "starts_in_an_hour": "most starts in an hour",
    "starts_limit_per_hour": "limit, starts an hour",
    "starts_habit_per_hour": "this pump's habit, most starts an hour",
    "stops_with_fault_share": "stops with a fault code",
    "cycle_s": "usual time from start to start",
    "cycle_spread": "spread of that time, of itself",
    "speed_swing_share": "swing of the speed, to each side",
    "period_s": "time of one wave",
    "longest_h": "longest time",
    "channels_unchanged": "quantities that stand still",
    "longest_rest_before_s": "longest standstill of a value before",
    "fault_code": "fault code",
    "stopped_by_fault": "pump stopped",
    "meaning_known": "meaning typed in",
    "hours_since_service": "hours since the last service",
    "hours_stopped_before": "hours stopped before",
    "failed_scans": "scans without an answer",
    "failed_scans_share": "share of scans without an answer",
    "scatter_over_quantisation": "scatter of head, times its resolution",
    "looks_computed": "looks computed from speed and power",
}
_YES_OR_NO: Final = ("stopped_by_fault", "meaning_known", "looks_computed", "by_data_sheet")
_SHARES: Final = ("flow_share_of_usual", "power_share_of_zero_flow_power", "head_share_of_shutoff_head")
_UNIT_ENDINGS: Final = (
    ("_rpm", "speed_rpm"),
    ("_m3h", "flow_m3h"),
    ("_w", "power_w"),
    ("_m", "head_m"),
    ("_kwh", "energy_kwh"),
    ("_c", "fluid_temperature_c"),
)
_PLAIN_ENDINGS: Final = (("_per_hour", ""), ("_h", "h"), ("_s", ""), ("_min", "min"), ("_pct", "%"))
_FRACTION_ENDINGS: Final = ("_share", "_fraction")


def efficiency_note(efficiency: float | None) -> str:
    r"""Return what is said beside an efficiency [-] that no pump can have, empty beside any other.

    No pump gives the water more than its drive takes, so head, flow or power is in another unit, or a
    signal is wrong.

    >>> efficiency_note(1.01), efficiency_note(0.62), efficiency_note(None)
    ('above 100\xa0%: check units or signals', '', '')
    """
    return "above 100\N{NO-BREAK SPACE}%: check units or signals" if (efficiency or 0.0) > 1 else ""


def state_words(state: str, failure_kind: str = "") -> str:
    """Return a pump's state; of one that gives no readings, what came instead at the last try.

    >>> state_words("no_reply", "refused"), state_words("no_reply", ""), state_words("running", "damaged")
    ('Refuses to be read', 'No reply', 'Running')
    """
    return STATES.get(failure_kind if state == "no_reply" and failure_kind else state, NOTHING)


def quantity_words(quantity: str) -> QuantityWords:
    """Return a quantity's short name and what it is."""
    return QUANTITIES.get(quantity, QuantityWords(plain(quantity).capitalize(), ""))


def titled(quantity: str, system: UnitSystem) -> str:
    """Return a quantity's name with its display unit, for a table's header.

    >>> titled("flow_m3h", "US")
    'Flow, gpm'
    """
    unit = unit_of(quantity, system).label
    return f"{quantity_words(quantity).name}, {unit}" if unit else quantity_words(quantity).name


def _without_unit(name: str) -> str:
    endings = (*(end for end, _ in _UNIT_ENDINGS), *(end for end, _ in _PLAIN_ENDINGS), *_FRACTION_ENDINGS)
    return next((name.removesuffix(end) for end in endings if name.endswith(end)), name)


def evidence_words(name: str) -> str:
    """Return what a number of evidence is.

    >>> evidence_words("shutoff_head_m"), evidence_words("starts_counted")
    ('shutoff head', 'starts counted')
    """
    return EVIDENCE.get(name, plain(_without_unit(name)))


def evidence_value(name: str, value: float, system: UnitSystem) -> str:
    r"""Return a number of evidence in display units; its name's ending says which.

    >>> evidence_value("shutoff_head_m", 10.0, "US"), evidence_value("longest_burst_min", 12, "SI")
    ('32.8\xa0ft', '12\xa0min')
    """
    if not math.isfinite(value):
        return NOTHING
    if name in _YES_OR_NO:
        return "yes" if value else "no"
    if name.endswith("_fraction"):
        return signed_percent(value)
    if name in _SHARES or name.endswith(_FRACTION_ENDINGS):
        return percent(value, 1)
    if name.endswith("_s"):
        return span_words(value)
    for ending, quantity in (*_UNIT_ENDINGS, ("fault_code", "fault_code")):
        if name.endswith(ending):
            return amount(value, quantity, system)
    shown = number(value, 3, 2 if value % 1 else 0)
    unit = next((words for ending, words in _PLAIN_ENDINGS if name.endswith(ending)), "")
    return shown if shown == NOTHING or not unit else f"{shown}{BOUND}{unit}"
