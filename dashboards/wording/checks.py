"""What to check next, in words, with the cautions that belong to it. Common practice of the trade."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from dashboards.wording import plain


@dataclass(frozen=True, slots=True)
class CheckWords:
    """One step for a person: what to do, and codes of the cautions that belong to it."""

    text: str
    cautions: tuple[str, ...] = ()


_WATER: Final = ("hot_pressure",)
_HANDS: Final = ("lock_out", "stored_energy", "automatic_restart", "rotating_parts")
_WIRES: Final = ("electrical", "stored_energy")
_NEAR: Final = ("automatic_restart", "rotating_parts")

_PUMP: Final[dict[str, CheckWords]] = {
    "compare_gauges": CheckWords(
        "Read one and the same gauge at the suction and the discharge tap while the pump runs, and compare "
        "the "
        "difference with the head that the drive reports in the same minute.",
        _WATER,
    ),
    "compare_gauges_at_two_duties": CheckWords(
        "Read one and the same gauge at the suction and the discharge tap at two duties, and compare the "
        "difference with the head that the drive reports in the same minutes. If they agree at both, the "
        "pump has lost the head; if the drive reads low by one share at both, it is the sensor's gain.",
        _WATER,
    ),
    "shutoff_head_test": CheckWords(
        "If the gauges agree: a brief shutoff-head test. Close the discharge valve slowly, read both "
        "gauges and "
        "the speed, open again at once, and compare with the curve at that speed.",
        ("shutoff_limit", "hot_pressure"),
    ),
    "make_field_check": CheckWords(
        "Make a field check: gauge readings at suction and discharge with the gauges' heights, or a strap-on "
        "flow meter, beside the drive's readings of the same minutes.",
        _WATER,
    ),
    "turn_shaft_by_hand": CheckWords(
        "Lock out, isolate, and turn the shaft by hand: it should move freely and evenly.", _HANDS
    ),
    "stop_the_pump": CheckWords(
        "Stop the pump by the means made for it, unless something depends on it, before looking further.",
        ("automatic_restart",),
    ),
    "coupling_turns": CheckWords(
        "Check, from outside the guard, that coupling and shaft turn together.", _NEAR
    ),
    "casing_temperature": CheckWords(
        "Check the casing's temperature without touching: a pump at shutoff heats its water.", _WATER
    ),
    "motor_load_and_temperature": CheckWords("Check the motor's load and temperature.", _NEAR),
    "recheck_recent_work": CheckWords(
        "Go over the recent work again: valves left shut, air left in, wiring, turning direction, settings.",
        _HANDS,
    ),
}
_WATER_SIDE: Final[dict[str, CheckWords]] = {
    "fill_pressure": CheckWords(
        "Check level or fill pressure on the suction side, with the pump running and standing.", _WATER
    ),
    "suction_valve_open": CheckWords("Check that the suction valve is open and the strainer clear.", _WATER),
    "suction_pressure": CheckWords(
        "Read the suction pressure at high flow: too little lets the water boil in the impeller.", _WATER
    ),
    "vent_casing": CheckWords("Vent the casing until only water comes.", _WATER),
    "vent_high_points": CheckWords("Vent the high points of the pipework.", _WATER),
    "air_separator": CheckWords("Check air separator, automatic vents and expansion vessel.", _WATER),
    "walk_discharge_valves": CheckWords(
        "Walk the discharge side: isolating, balancing and check valves between pump and load.", _WATER
    ),
    "walk_valves": CheckWords("Walk valves and bypasses, and ask what was changed on that day."),
    "check_valve": CheckWords(
        "See that the check valve opens; another pump's pressure may hold it shut.", _WATER
    ),
    "control_valve_positions": CheckWords(
        "Look at the control valves' positions. If all may close at once, the control should stop the pump "
        "or a "
        "bypass should keep a least flow."
    ),
    "lowest_speed_setting": CheckWords(
        "Compare the lowest speed the control may ask for with what lifts the static head."
    ),
    "check_strainer_pressure_drop": CheckWords(
        "Read the pressure drop across strainer, coil and filter, and compare with clean.", _WATER
    ),
    "check_fluid_temperature_and_glycol": CheckWords(
        "Check fluid temperature and glycol content: power goes with density, and with viscosity too.", _WATER
    ),
    "valve_authority": CheckWords("Check whether a control valve swings at the same pace, or is too large."),
}
_SENSORS: Final[dict[str, CheckWords]] = {
    "verify_flow_meter": CheckWords(
        "Compare the flow meter with a strap-on meter or the heat balance, for some minutes at steady speed."
    ),
    "zero_head_sensor_at_rest": CheckWords(
        "With the pump standing and the valves open, head should read nothing: note what it reads, and "
        "bleed the "
        "sensing lines.",
        ("automatic_restart", "hot_pressure"),
    ),
    "compare_power_meter": CheckWords(
        "Compare the drive's power reading with a power meter, or its energy counter over an hour.", _WIRES
    ),
    "sensor_location": CheckWords("Check where the controlling sensor sits and that its signal is quiet."),
    "compare_with_drive_panel": CheckWords(
        "Compare with the drive's own panel while something changes.", ("automatic_restart",)
    ),
    "declare_provenance": CheckWords(
        "Find out from the drive's manual whether flow and head are measured or computed, and set it in "
        "the site "
        "file."
    ),
    "read_all_four_channels": CheckWords(
        "Add the missing channel to the register map: speed, power, flow and head are needed."
    ),
    "wait_for_baseline": CheckWords("Wait: the own curve is learned from the first weeks of running."),
    "look_at_gaps": CheckWords(
        "Look at the gaps in this pump's readings: a line or drive that drops out, or a trend log with too "
        "few rows an hour."
    ),
    "record_service_event": CheckWords(
        "If something was done to the pump on that day, record it; only a recorded event starts a new "
        "baseline."
    ),
}
_CONTROL: Final[dict[str, CheckWords]] = {
    "read_drive_event_log": CheckWords(
        "Read the drive's own event log for the times shown here.", ("automatic_restart",)
    ),
    "read_drive_manual_for_code": CheckWords(
        "Look the code up in the drive's manual, and type its meaning into the register map."
    ),
    "supply_voltage": CheckWords("Have the supply voltage checked at the times of the stops.", _WIRES),
    "staging_differential": CheckWords("Check the staging difference and delay between lead and lag pumps."),
    "start_stop_signal": CheckWords(
        "Check the start signal: a loose contact starts and stops like this.", _WIRES
    ),
    "schedule": CheckWords("Check the schedule that starts and stops the pump."),
    "loop_tuning": CheckWords(
        "Ask the controls technician to soften the loop (less gain, longer integral time) and watch the "
        "wave go."
    ),
}
_LINE: Final[dict[str, CheckWords]] = {
    "restart_gateway": CheckWords(
        "Check the gateway or controller in between: does it refresh? Restart it if its owner agrees."
    ),
    "register_addresses": CheckWords("Check register addresses and scaling against the drive's manual."),
    "drive_has_power": CheckWords("See whether the drive has power and its panel is lit.", _WIRES),
    "bus_cable": CheckWords("Check the bus cable: loose terminal, swapped pair, broken screen.", _WIRES),
    "bus_termination": CheckWords(
        "Check that the end resistors are at both ends of the line and nowhere else.", _WIRES
    ),
    "unit_address_and_baud": CheckWords(
        "Check the drive's unit number, baud rate, parity and stop bits against the site file, and that no "
        "other "
        "unit has the same number."
    ),
    "gateway_or_adapter": CheckWords("Check the gateway or serial adapter: power, lights, cable, port name."),
    "network_path": CheckWords("Check the network: address, switch port, cable, firewall."),
    "adapter_echo_setting": CheckWords("Switch the adapter's local echo off."),
}
CHECKS: Final[dict[str, CheckWords]] = _PUMP | _WATER_SIDE | _SENSORS | _CONTROL | _LINE


_LOOK_UP: Final = "read_drive_manual_for_code"
AS_TYPED_IN: Final = ("lock_out", "stored_energy", "automatic_restart", "rotating_parts", "electrical")
"""Cautions for a check typed in from a manual: what it asks for isn't known here, so all are said."""
AT_THE_STEP: Final = ("shutoff_limit",)
"""Cautions that are said at the step itself; all others are said once, before the first step."""


def cautions_first(codes: Sequence[str], more: Sequence[str] = ()) -> list[str]:
    """Return the cautions of all steps and of the finding itself, each once, to be read before starting.

    >>> cautions_first(["vent_casing", "fill_pressure"], ["automatic_restart"])
    ['automatic_restart', 'hot_pressure']
    """
    of_steps = (caution for code in codes for caution in check_words(code).cautions)
    every = dict.fromkeys((*more, *of_steps))
    return [caution for caution in every if caution not in AT_THE_STEP]


def open_checks(codes: Sequence[str], meaning_is_known: bool) -> list[str]:
    """Return the checks that are still to be made: a code whose meaning is known is not looked up again.

    >>> open_checks(["read_drive_manual_for_code", "supply_voltage"], meaning_is_known=True)
    ['supply_voltage']
    """
    return [code for code in codes if not (meaning_is_known and code == _LOOK_UP)]


def check_words(code: str) -> CheckWords:
    """Return the words of a check; a code that nobody has worded is shown as words."""
    return CHECKS.get(code, CheckWords(f"{plain(code).capitalize()}."))
