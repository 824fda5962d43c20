"""The kinds of finding in words: what it is, what it looks like, and what to check first."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from dashboards.wording import plain


@dataclass(frozen=True, slots=True, kw_only=True)
class KindWords:
    """A kind of finding. ``checks`` are codes, used where a finding brings none; cautions are codes too."""

    title: str
    what: str
    looks_like: str
    checks: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


KINDS: Final[dict[str, KindWords]] = {
    "head_loss": KindWords(
        title="Head below its own curve",
        what="At the same flow and speed the pump gives less head than it used to.",
        looks_like=(
            "The recent readings lie under the curve at every speed. Where the gap grows with flow, "
            "leakage past the "
            "wearing ring is likely; where it is even, the impeller."
        ),
        checks=("compare_gauges", "shutoff_head_test", "verify_flow_meter"),
        cautions=("hot_pressure", "shutoff_limit", "lock_out"),
    ),
    "power_shift": KindWords(
        title="Power off its own curve",
        what="At the same flow and speed the drive takes another power than it used to.",
        looks_like="The power picture moves up or down as a whole while head stays on its curve.",
        checks=("check_fluid_temperature_and_glycol", "compare_power_meter", "turn_shaft_by_hand"),
        cautions=("lock_out", "stored_energy", "rotating_parts"),
    ),
    "air_binding": KindWords(
        title="Air in the pump",
        what=(
            "Gas gathers in the casing in bursts, so the pump moves less water for a while and then recovers."
        ),
        looks_like=(
            "Head and power drop together and jump about for minutes, often after filling or heating up."
        ),
        checks=("vent_casing", "vent_high_points", "fill_pressure", "air_separator"),
        cautions=("hot_pressure", "automatic_restart", "rotating_parts"),
    ),
    "dry_running": KindWords(
        title="Running dry",
        what="The pump turns without moving water. Seal and bearings can be damaged within minutes.",
        looks_like=(
            "Flow and head are near nothing, and power is far below what even a closed valve would need."
        ),
        checks=("stop_the_pump", "suction_valve_open", "fill_pressure", "vent_casing"),
        cautions=("automatic_restart", "hot_pressure", "lock_out"),
    ),
    "closed_discharge": KindWords(
        title="Running against a closed valve",
        what="The pump runs with no way out for the water, which heats up inside it.",
        looks_like="No flow, with the head at its shutoff value for the speed and power at its lowest.",
        checks=("walk_discharge_valves", "check_valve", "control_valve_positions"),
        cautions=("hot_pressure", "automatic_restart"),
    ),
    "mechanical_drag": KindWords(
        title="Mechanical drag",
        what="The pump takes more power for the same water, so something rubs or a bearing is failing.",
        looks_like="Power lies above its curve by about the same amount at every flow; head is unchanged.",
        checks=("check_fluid_temperature_and_glycol", "motor_load_and_temperature", "turn_shaft_by_hand"),
        cautions=("lock_out", "stored_energy", "rotating_parts"),
    ),
    "head_sensor_shift": KindWords(
        title="Head reading shifted",
        what="The head reading has moved by itself while the pump has not.",
        looks_like=(
            "Head moves by the same amount everywhere, standing still included, or by the same share; power "
            "stays on its curve."
        ),
        checks=("zero_head_sensor_at_rest", "compare_gauges"),
        cautions=("hot_pressure",),
    ),
    "flow_meter_shift": KindWords(
        title="Flow reading shifted",
        what="The flow reading no longer fits the pump's head and power.",
        looks_like=(
            "Head and power both leave their curves as if every point had slid sideways along the flow axis."
        ),
        checks=("verify_flow_meter", "compare_gauges"),
        cautions=("hot_pressure",),
    ),
    "power_reading_shift": KindWords(
        title="Power reading shifted",
        what="The power reading changed by one factor at every load, as after a changed setting.",
        looks_like="The whole power picture is scaled at once; head and flow are unchanged.",
        checks=("compare_power_meter", "register_addresses"),
        cautions=("electrical",),
    ),
    "hunting": KindWords(
        title="Speed swings",
        what="The control keeps raising and lowering the speed and finds no rest.",
        looks_like=(
            "A steady wave in speed, flow and head, minutes or seconds long, for half an hour or more."
        ),
        checks=("loop_tuning", "sensor_location", "valve_authority"),
        cautions=("automatic_restart",),
    ),
    "repeated_starts": KindWords(
        title="Repeated starts",
        what="The pump starts more often than is good for motor, coupling and seals.",
        looks_like="Speed falls to nothing and comes back, again and again within the hour.",
        checks=("read_drive_event_log", "staging_differential", "supply_voltage"),
        cautions=("automatic_restart", "stored_energy", "lock_out"),
    ),
    "frozen_reading": KindWords(
        title="Readings stand still",
        what="The drive reports the very same numbers for so long that they can't be real.",
        looks_like="Flat lines while the pump is said to run: in several quantities at once, or in one "
        "while the others move.",
        checks=("compare_with_drive_panel", "restart_gateway", "register_addresses"),
        cautions=("automatic_restart",),
    ),
    "no_reply": KindWords(
        title="Drive does not answer",
        what="The drive gave no answer, so nothing is known of the pump for that time.",
        looks_like="A gap in every quantity of this pump, while others on the same line go on.",
        checks=("drive_has_power", "bus_cable", "unit_address_and_baud"),
        cautions=("automatic_restart", "electrical"),
    ),
    "drive_fault": KindWords(
        title="Drive reports a fault",
        what="The drive itself says that something is wrong.",
        looks_like="A fault code other than 0, usually with the pump stopped.",
        checks=("read_drive_event_log", "read_drive_manual_for_code", "supply_voltage"),
        cautions=("stored_energy", "automatic_restart", "lock_out"),
    ),
    "system_change": KindWords(
        title="The system has changed, not the pump",
        what=(
            "The pipework asks for another head at the same flow: a valve, a bypass or a setpoint was "
            "changed."
        ),
        looks_like="The readings slide along the pump's own curve to another place and stay on it.",
        checks=("walk_valves",),
    ),
    "resistance_rise": KindWords(
        title="Resistance in the system rises",
        what=(
            "The pipework needs slowly more head for the same flow: a strainer, coil or filter is loading up."
        ),
        looks_like="Over days or weeks the readings creep along the pump's own curve towards less flow.",
        checks=("check_strainer_pressure_drop",),
        cautions=("hot_pressure", "lock_out"),
    ),
    "fluid_change": KindWords(
        title="The fluid has changed, not the pump",
        what="Head and power moved as another fluid moves them: colder, warmer, or with more or less glycol.",
        looks_like=(
            "Power leaves its curve by one share at every load, with density and viscosity; head hardly "
            "moves, or moves with it where the drive works it out from pressure."
        ),
        checks=("check_fluid_temperature_and_glycol", "record_service_event"),
        cautions=("hot_pressure",),
    ),
    "not_assessable": KindWords(
        title="Can't be judged",
        what="These readings can't show whether the pump still does what its own curve says.",
        looks_like=(
            "Whatever happens to the pump, the picture would look the same, or there are too few readings."
        ),
        checks=("make_field_check",),
    ),
}


def kind_words(kind: str) -> KindWords:
    """Return the words for a kind; an unknown kind is shown by its code and never hides its finding."""
    unknown = KindWords(title=plain(kind).capitalize(), what="No description yet.", looks_like="")
    return KINDS.get(kind, unknown)
