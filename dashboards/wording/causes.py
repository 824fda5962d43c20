"""Likely causes in words, as they stand in "likely ..."."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from dashboards.display import listed
from dashboards.wording import plain

CAUSES: Final[dict[str, str]] = {
    "ring_leakage": "leakage past the wearing ring",
    "impeller_wear": "impeller wear",
    "impeller_fouling": "a fouled impeller",
    "flow_meter_reads_low": "a flow meter that reads low",
    "flow_meter_reads_high": "a flow meter that reads high",
    "head_sensor_reads_low": "a head sensor that reads low",
    "head_sensor_reads_high": "a head sensor that reads high",
    "head_sensor_shift": "a head sensor that has shifted",
    "power_reading_shift": "a changed power reading",
    "mechanical_drag": "mechanical drag",
    "bearing_drag": "a failing bearing",
    "seal_rub": "a rubbing seal",
    "misalignment": "a misaligned coupling",
    "fluid_density": "a fluid of another density (temperature or glycol)",
    "fluid_change": "another fluid or temperature",
    "viscosity_change": "a thicker fluid (cold or glycol)",
    "gas": "gas in the water",
    "gas_in_fluid": "gas in the water",
    "air_in_system": "air in the system",
    "cavitation": "cavitation (too little suction pressure)",
    "suction_leak": "air drawn in at the suction side",
    "loss_of_prime": "loss of prime",
    "no_water": "no water at the suction",
    "closed_suction": "a closed suction valve",
    "broken_coupling": "a broken coupling",
    "closed_valve": "a closed valve",
    "stuck_check_valve": "a check valve that stays shut",
    "blocked_strainer": "a blocked strainer",
    "all_loads_closed": "all loads closed at once",
    "valve_moved": "a valve that was moved",
    "valve_opened": "a valve or bypass that was opened",
    "valve_closed": "a valve that was closed",
    "bypass_opened": "an opened bypass",
    "setpoint_changed": "a changed setpoint",
    "strainer_loading": "a strainer that loads up",
    "coil_or_filter_loading": "a coil or filter that loads up",
    "loop_tuning": "control that is tuned too sharply",
    "sensor_location": "a pressure sensor in an unlucky place",
    "valve_hunting": "a control valve that swings",
    "schedule": "its schedule",
    "lead_lag": "lead and lag pumps that take turns",
    "short_cycling": "a load too small for the lowest speed",
    "trip_and_restart": "trips with automatic restart",
    "supply_dips": "dips in the supply voltage",
    "stale_gateway": "a gateway that repeats old values",
    "wrong_register": "a register that is not a reading",
    "drive_unpowered": "a drive without power",
    "wiring": "wiring or a loose terminal",
    "wrong_unit_number": "a changed unit number",
    "other_master": "another master on the same line",
    "drive_fault": "a fault that the drive itself reports",
}


def cause_words(names: Sequence[str]) -> str:
    """Return the causes of one entry in words; more than one are not to be told apart from here.

    >>> cause_words(["ring_leakage", "impeller_wear"])
    'leakage past the wearing ring or impeller wear'
    """
    return listed((CAUSES.get(name, plain(name)) for name in names), "or")
