"""What a page asks for every few seconds: the newest values, ready in words and display units."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from collector.quantities import QUANTITIES as LIMITS
from dashboards.display import BOUND, amount, bare, number, unit_for_range, unit_of
from dashboards.moments import span_words
from dashboards.pages.staleness import as_of_words, stale_words
from dashboards.views import DutyPoint, LiveValue, PageFrame, PumpRow, UnitSystem
from dashboards.wording.terms import QUALITIES, efficiency_note, state_words

NEEDED: Final = ("speed_rpm", "power_w", "flow_m3h", "head_m")
"""Shown even when there is none, with the reason: without one of them little can be judged."""


def value_words(value: LiveValue, units: UnitSystem) -> str:
    """Return a live value with its unit; a dash where there is none."""
    return amount(value.value, value.quantity, units)


def state_line(row: PumpRow) -> str:
    """Return what a pump does now; of one without readings for long, only for how long."""
    if row.state == "old":
        return f"No readings for {span_words(row.old_s)}"
    return state_words(row.state, row.failure_kind)


def value_note(value: LiveValue) -> str:
    """Return why there is no value, or that it is only estimated; empty for a good measured one."""
    if value.value is None and value.quantity == "efficiency":
        return "no flow, head or power to work it out from"
    if value.value is None and value.quality == "impossible":
        return f"{QUALITIES[value.quality]}{_limits_words(value.quantity)}"
    if value.value is None:
        return QUALITIES.get(value.quality, "") or "not reported"
    if value.quantity == "efficiency" and (note := efficiency_note(value.value)):
        return note
    return "estimated by the drive" if value.provenance == "estimated" else ""


def _limits_words(name: str) -> str:
    """Return the limits outside of which a value was set aside, in the units of a register map."""
    known = next((each for each in LIMITS if each.name == name), None)
    if known is None:
        return ""
    unit = f"{BOUND}{known.unit}" if known.unit else ""
    return f" (outside {number(known.lowest, 9, 0)} to {number(known.highest, 12, 0)}{unit})"


def is_left_out(value: LiveValue) -> bool:
    """Return whether a quantity is not shown: the drive has none, and nothing is judged by it."""
    return value.value is None and value.quality == "no_value" and value.quantity not in NEEDED


def with_efficiency(values: Sequence[LiveValue]) -> list[LiveValue]:
    """Return the values with a place for the efficiency, which comes and goes as the pump does."""
    place = LiveValue(quantity="efficiency", value=None, quality="no_value")
    has_place = any(value.quantity == place.quantity for value in values)
    return [*values] if has_place else [*values, place]


def live_answer(frame: PageFrame, pumps: Sequence[PumpRow], now: DutyPoint | None = None) -> dict[str, Any]:
    """Return the answer to a page's question for what is new, ready for JSON.

    ``pumps`` maps a name to its state, its values in words and as bare numbers for columns, the notes beside
    them and the quantities left out. ``now`` holds the live dot of each curve picture in display units.
    ``findings`` changes whenever a finding comes, goes, stops to show or is acknowledged.
    """
    return {
        "as_of": as_of_words(frame),
        "stale": stale_words(frame),
        "pumps": {row.name: _pump(row, frame.units) for row in pumps},
        "now": None if now is None else _dots(now, frame.units),
        "findings": findings_mark(pumps),
    }


def findings_mark(pumps: Sequence[PumpRow]) -> str:
    """Return a text that differs whenever the active findings do."""
    cards = (card for row in pumps for card in row.findings)
    marks = (f"{c.identity}{'a' * bool(c.acknowledged_utc_ms)}{'' if c.is_seen_now else 'n'}" for c in cards)
    return " ".join(sorted(marks))


def _pump(row: PumpRow, units: UnitSystem) -> dict[str, Any]:
    values = {value.quantity: value_words(value, units) for value in row.live}
    return {
        "state": row.state,
        "state_words": state_line(row),
        "values": values,
        "numbers": {value.quantity: bare(value.value, value.quantity, units) for value in row.live},
        "notes": {value.quantity: value_note(value) for value in row.live},
        "left_out": [value.quantity for value in row.live if is_left_out(value)],
    }


def _dots(now: DutyPoint, units: UnitSystem) -> dict[str, list[float]]:
    flow = now.flow_m3h * unit_of("flow_m3h", units).factor
    power = unit_for_range("power_w", units, now.power_w)
    head = now.head_m * unit_of("head_m", units).factor
    return {
        "head": [round(flow, 4), round(head, 4)],
        "power": [round(flow, 4), round(now.power_w * power.factor, 4)],
    }


def by_quantity(row: PumpRow) -> dict[str, LiveValue]:
    """Return a pump's live values by the name of their quantity."""
    return {value.quantity: value for value in row.live}
