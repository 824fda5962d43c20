"""Likely causes in words, as they stand in "likely ...", and the reasons why nothing can be said."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from dashboards.display import listed
from dashboards.wording import plain

AS_THE_MANUAL_SAYS: Final = "as_the_drive_manual_says"
UNKNOWN_CAUSE: Final = "not_in_learned_causes"
CAUSES: Final[dict[str, str]] = {
    "ring_leakage": "leakage past the wearing ring",
    "impeller_wear": "impeller wear",
    "rough_passages": "rough or fouled passages in the pump",
    "flow_meter_reads_low": "a flow meter that reads low",
    "flow_meter_reads_high": "a flow meter that reads high",
    "head_sensor_reads_low": "a head sensor that reads low",
    "head_sensor_reads_high": "a head sensor that reads high",
    "head_sensor_gain_fell": "a head sensor whose gain fell",
    "power_reads_low": "a power reading that is too low",
    "power_reads_high": "a power reading that is too high",
    "mechanical_drag": "mechanical drag (bearing, seal or alignment)",
    "fluid_changed": "another fluid: temperature or glycol content",
    "valve_or_bypass_moved": "a valve or bypass that was moved",
    "strainer_or_coil_loading": "a strainer, coil or filter that loads up",
    "more_circuits_open": "more circuits that are open",
    UNKNOWN_CAUSE: "something that fits none of the known patterns",
    "suction_lost": "loss of water at the suction",
    "system_drained": "a drained system",
    "coupling_or_shaft_parted": "a parted coupling or shaft",
    "valve_closed": "a closed valve",
    "check_valve_held_shut": "a check valve that is held shut",
    "speed_too_low_for_static_head": "a speed too low to lift the static head",
    "all_control_valves_shut": "control valves that are all shut at once",
    "gas_in_water": "gas in the water",
    "cavitation": "cavitation (too little suction pressure)",
    "trip_and_restart": "trips with automatic restart",
    "short_cycling_control": "control that stops and starts the pump at small loads",
    "supply_dips": "dips in the supply voltage",
    "loop_too_fast": "a control loop that is tuned too fast",
    "sensor_place_or_noise": "the place or the noise of the controlling sensor",
    "pumps_or_valves_fight": "pumps or valves that work against each other",
    "drive_or_gateway_repeats_old_values": "a drive or gateway that repeats old values",
    "power_reading_stuck": "a power reading that stands still while the others move",
    "flow_reading_stuck": "a flow reading that stands still while the others move",
    "head_reading_stuck": "a head reading that stands still while the others move",
    "wrong_register": "a register that is not a reading",
    AS_THE_MANUAL_SAYS: "what the drive's manual says of this code",
    "left_by_recent_work": "something left by the recent work (valve, air, wiring, setting)",
    "drive_without_power": "a drive without power",
    "bus_cable_open": "an open bus cable or terminal",
    "wrong_unit_or_settings": "a changed unit number or line setting",
    "bus_noise_or_termination": "noise on the line or wrong end resistors",
    "two_units_with_one_address": "two units with one address",
    "gateway_or_adapter_down": "a gateway or adapter that is down",
    "network_path": "a broken network path",
    "drive_busy": "a drive that is busy",
    "adapter_echo": "an adapter that echoes what is sent",
    "provenance_contradicted": "readings that contradict what the site file says of their origin",
}
REASONS: Final[dict[str, str]] = {
    "estimated_flow_or_head": (
        "The drive computes flow or head from speed and power with a built-in curve, so every reading lies "
        "on "
        "that curve and wear can't show. Not assessable from this telemetry: make a field check."
    ),
    "unknown_provenance": (
        "Nobody has stated yet whether flow and head are measured or computed by the drive. Until the site "
        "file "
        "says so, wear can't be judged."
    ),
    "channel_missing": "One of speed, power, flow and head is not read, and without it wear can't be judged.",
    "baseline_too_short": (
        "The pump's own curve is still being learned; it takes some weeks of running at usual loads."
    ),
    "outside_learned_region": (
        "The pump runs where its own curve has not been learned, so there is nothing to compare with."
    ),
    "too_few_readings": "There are too few readings to compare with the pump's own curve.",
    "too_restless": "The readings are too restless to compare with the pump's own curve.",
    "runs_too_short": (
        "The pump stops again before its readings have settled, which takes about two minutes, so its own "
        "curve can't be learned. Let it run for ten minutes at a time, for a few days, if the plant allows."
    ),
    "readings_stand_still": (
        "Speed, power, flow and head have not moved at all while the pump ran. Compare them with the drive's "
        "own panel: a gateway may repeat old values."
    ),
    "flow_stands_still": (
        "Flow shows one and the same value whatever speed and head do. Look at the flow meter, at the range "
        "it is set to and at the register it is read from."
    ),
    "speed_reads_zero": "Speed reads zero although power is drawn and water moves. Look at its register.",
    "flow_reads_zero": (
        "Flow reads zero while the pump runs, so nothing can be compared. Look at the flow meter and at the "
        "register it is read from."
    ),
    "flow_has_wrong_sign": (
        "Flow reads below zero while the pump runs: the meter may be fitted the other way round, or the sign "
        "in the register map is wrong."
    ),
    "head_reads_zero": (
        "Head reads zero while the pump runs, so nothing can be compared. Look at the pressure sensor and at "
        "the register it is read from."
    ),
    "head_has_wrong_sign": (
        "Head reads below zero while the pump runs: the sensor's two lines may be swapped, or the sign in "
        "the register map is wrong."
    ),
    "power_reads_zero": (
        "Power reads zero while the pump runs, so nothing can be compared. Look at the register it is read "
        "from."
    ),
    "power_has_wrong_sign": (
        "Power reads below zero while the pump runs. Look at its sign in the register map."
    ),
    "flow_meter_at_its_range": (
        "The flow meter stands at the top of its range while head shows that more water moves. Look at the "
        "range it is set to."
    ),
    "one_reading_stuck": (
        "Flow or head stood still for hours while the other readings moved. Look at that sensor and the "
        "register it is read from."
    ),
    "units_contradict": (
        "By these readings the water takes more power than the pump draws, which can't be. Look at the units "
        "of flow, head and power in the register map."
    ),
    "provenance_contradicted": (
        "The readings contradict what the site file says of their origin. Until that is cleared up, wear "
        "can't be judged."
    ),
}
LOOKS_COMPUTED: Final = (
    "The site file calls flow or head measured, but they follow speed and power as closely as if the drive "
    "computed them. Until that is cleared up, wear can't be judged."
)
LOOKS_MEASURED: Final = (
    "The site file says that the drive computes flow and head, but they scatter as sensors do. Until that is "
    "cleared up, wear can't be judged."
)
"""Whole sentences, for the only cause of a finding that says "can't be judged"."""


def cause_words(names: Sequence[str]) -> str:
    """Return the causes of one entry in words; more than one are not to be told apart from here.

    >>> cause_words(["ring_leakage", "impeller_wear"])
    'leakage past the wearing ring or impeller wear'
    """
    return listed((CAUSES.get(name, plain(name)) for name in names), "or")
