"""Every code that a finding may carry besides its kind. Words for people stand in dashboards."""

from __future__ import annotations

from typing import Final

# Slow analytics: curve, drift, energy.
SLOW_CAUSES: Final = (
    "ring_leakage",
    "impeller_wear",
    "flow_meter_reads_low",
    "flow_meter_reads_high",
    "head_sensor_reads_low",
    "head_sensor_reads_high",
    "power_reads_low",
    "power_reads_high",
    "mechanical_drag",
    "fluid_changed",
    "valve_or_bypass_moved",
    "strainer_or_coil_loading",
    "more_circuits_open",
    "not_in_learned_causes",
)
SLOW_CHECKS: Final = (
    "compare_gauges",
    "shutoff_head_test",
    "verify_flow_meter",
    "zero_head_sensor_at_rest",
    "check_fluid_temperature_and_glycol",
    "turn_shaft_by_hand",
    "compare_power_meter",
    "check_strainer_pressure_drop",
    "walk_valves",
    "make_field_check",
    "declare_provenance",
    "read_all_four_channels",
    "wait_for_baseline",
    "record_service_event",
)
NOT_ASSESSABLE_REASONS: Final = (
    "estimated_flow_or_head",
    "unknown_provenance",
    "channel_missing",
    "baseline_too_short",
    "outside_learned_region",
    "too_few_readings",
)
"""Stand as the only cause of a ``not_assessable`` finding."""
SLOW_EVIDENCE: Final = (
    "head_residual_fraction",
    "power_residual_fraction",
    "efficiency_change_fraction",
    "system_coefficient_ratio",
    "head_at_duty_m",
    "own_curve_head_at_duty_m",
    "flow_at_duty_m3h",
    "speed_at_duty_rpm",
    "hours_used",
    "hours_in_baseline",
    "evidence_z",
)

CAUSES: Final = frozenset(SLOW_CAUSES) | frozenset(NOT_ASSESSABLE_REASONS)
CHECKS: Final = frozenset(SLOW_CHECKS)
EVIDENCE: Final = frozenset(SLOW_EVIDENCE)
