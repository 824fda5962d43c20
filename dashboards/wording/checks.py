"""What to check next, in words, with the cautions that belong to it. Common practice of the trade."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from dashboards.wording import plain


@dataclass(frozen=True, slots=True)
class CheckWords:
    """One step for a person: what to do, and codes of the cautions that belong to it."""

    text: str
    cautions: tuple[str, ...] = ()


_VALVES: Final = ("hot_pressure",)
_HANDS: Final = ("lock_out", "stored_energy", "automatic_restart", "rotating_parts")

CHECKS: Final[dict[str, CheckWords]] = {
    "compare_gauges": CheckWords(
        "Read one and the same gauge at the suction and the discharge tap while the pump runs, and compare "
        "the "
        "difference with the head that the drive reports in the same minute.",
        _VALVES,
    ),
    "shutoff_head_test": CheckWords(
        "If the gauges agree: a brief shutoff-head test. Close the discharge valve slowly, read both "
        "gauges and "
        "the speed, open again at once, and compare with the curve at that speed.",
        ("shutoff_limit", "hot_pressure"),
    ),
    "inspect_ring_and_impeller": CheckWords(
        (
            "If the loss is real: plan to open the pump; measure the wearing-ring clearance, look at the "
            "impeller."
        ),
        (*_HANDS, "hot_pressure"),
    ),
    "check_fluid": CheckWords(
        "Check fluid temperature and glycol content: power goes with density, and with viscosity too."
    ),
    "check_power_meter": CheckWords(
        "Compare the drive's power reading with a clamp meter, or its energy counter over an hour.",
        ("electrical",),
    ),
    "check_scaling": CheckWords(
        "Check whether units or scaling of the reading were changed in drive or map."
    ),
    "turn_by_hand": CheckWords(
        "Lock out, isolate, and turn the shaft by hand: it should move freely and evenly.", _HANDS
    ),
    "listen_and_feel": CheckWords(
        "Listen at both bearings and compare their temperature with a pump of the same kind.",
        ("rotating_parts",),
    ),
    "check_alignment": CheckWords("Check coupling, alignment and seal for rubbing.", _HANDS),
    "vent_casing": CheckWords(
        "Vent the casing and the high points of the pipework until only water comes.", _VALVES
    ),
    "check_fill_pressure": CheckWords(
        "Check the fill pressure at the suction with the pump running and standing: it must stay above "
        "what the "
        "top of the system needs.",
        _VALVES,
    ),
    "check_air_separator": CheckWords("Check air separator, automatic vents and expansion vessel.", _VALVES),
    "check_suction_leak": CheckWords(
        "Look for air drawn in on the suction side: seal, flanges, level above the suction mouth."
    ),
    "check_suction_pressure": CheckWords(
        "Read the suction pressure at high flow: too little lets the water boil in the impeller.", _VALVES
    ),
    "stop_pump": CheckWords(
        "Stop the pump by the means made for it, if nothing depends on it, before looking further.",
        ("automatic_restart",),
    ),
    "check_suction_valve": CheckWords(
        "Check that the suction valve is open and the strainer clear.", _VALVES
    ),
    "check_water_level": CheckWords("Check the level or fill pressure on the suction side."),
    "prime_and_vent": CheckWords("Fill and vent the pump before it is started again.", _VALVES),
    "check_coupling": CheckWords("Check that coupling and shaft turn together.", _HANDS),
    "check_discharge_valves": CheckWords(
        "Walk the discharge side: isolating, balancing and check valves between pump and load.", _VALVES
    ),
    "check_check_valve": CheckWords(
        "Check that the check valve opens; a stuck one looks like a closed valve.", _VALVES
    ),
    "check_no_flow_control": CheckWords(
        "If every load may close at once, see that the control stops the pump or a bypass keeps a least flow."
    ),
    "zero_head_sensor": CheckWords(
        "With the pump standing and the valves open, head should read nothing: note what it reads.",
        ("automatic_restart",),
    ),
    "bleed_sensor_lines": CheckWords("Bleed both sensing lines and check their valves.", _VALVES),
    "swap_gauge": CheckWords("Swap the head sensor for a known good one.", _VALVES),
    "check_flow_meter": CheckWords(
        "Check the flow meter: straight pipe before it, full pipe, clean sensor, its settings."
    ),
    "strap_on_flow": CheckWords("Compare with a strap-on flow meter for some minutes at steady speed."),
    "heat_balance": CheckWords("Compare with the heat balance: flow from heat and temperature difference."),
    "check_loop_tuning": CheckWords(
        "Ask the controls technician to soften the loop (less gain, longer integral time) and watch the "
        "wave go."
    ),
    "check_sensor_place": CheckWords("Check where the controlling sensor sits and that its signal is quiet."),
    "check_valve_hunting": CheckWords("See whether a control valve swings at the same pace."),
    "read_drive_log": CheckWords(
        "Read the drive's own event log for the times shown here.", ("automatic_restart",)
    ),
    "look_up_fault_code": CheckWords(
        "Look the code up in the drive's manual, and type its meaning into the register map.",
    ),
    "check_staging": CheckWords("Check the staging difference and delay between lead and lag pumps."),
    "check_supply": CheckWords("Have the supply voltage checked at the times of the stops.", ("electrical",)),
    "check_setpoint_limits": CheckWords(
        "Check start and stop limits: a wider gap or a longer least run time means fewer starts."
    ),
    "check_schedule": CheckWords("Check the schedule that starts and stops the pump."),
    "check_gateway": CheckWords(
        "Check the gateway or controller between us and the drive: is it refreshing?"
    ),
    "check_addresses": CheckWords("Check address and scaling of the registers against the drive's manual."),
    "compare_with_drive_display": CheckWords(
        "Compare with the drive's own display while something changes.", ("automatic_restart",)
    ),
    "check_drive_power": CheckWords("See whether the drive has power and shows a display.", ("electrical",)),
    "check_wiring": CheckWords(
        "Check the serial pair: loose terminal, swapped wires, screen, end resistors; or the network link."
    ),
    "check_unit_number": CheckWords("Check the drive's unit number and line settings against the site file."),
    "check_other_master": CheckWords(
        "Make sure that nobody else asks on the same line: one line, one master."
    ),
    "ask_who_changed": CheckWords("Ask what was changed in the system on that day, and write it down."),
    "check_balancing": CheckWords(
        "Check balancing valves, bypasses and setpoints against their last record."
    ),
    "strainer_pressure_drop": CheckWords(
        "Read the pressure drop across the strainer and compare with clean.", _VALVES
    ),
    "clean_strainer": CheckWords(
        "Blow down or clean the strainer, isolated and without pressure.", ("hot_pressure", "lock_out")
    ),
    "check_coils_filters": CheckWords("Check coils, filters and heat exchangers for loading.", _VALVES),
    "field_check": CheckWords(
        "Make a field check: gauge readings at suction and discharge with the gauges' heights, or a "
        "strap-on flow "
        "meter. It turns this into an assessment.",
        _VALVES,
    ),
    "check_provenance": CheckWords(
        "Find out from the drive's manual whether flow and head are measured or computed, and set it in "
        "the site file."
    ),
}


def check_words(code: str) -> CheckWords:
    """Return the words of a check; a code that nobody has worded is shown as words."""
    return CHECKS.get(code, CheckWords(f"{plain(code).capitalize()}."))
