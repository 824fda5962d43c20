"""Families of pumps for the fast rules alone.

``SEEN_FAST`` were drawn up to judge an earlier version and have been tuned on since. ``FRESH`` are those
that no threshold has seen: drawn up after the last one was set, and moved to ``SEEN_FAST`` as soon as one is
changed after a look at them.
"""

from __future__ import annotations

from typing import Final

from tests.fleet.families import Family

SEEN_FAST: Final = (
    Family(
        name="N",
        tuned_on=True,
        droop=(0.12, 0.4),
        droop_exponent=(1.5, 2.5),
        zero_flow_power=(0.3, 0.6),
        best_flow_m3h=(5.0, 90.0),
        best_head_m=(5.0, 25.0),
        noise=(0.002, 0.007),
        head_step_m=(0.02, 0.1),
    ),
    Family(
        name="O",
        tuned_on=True,
        modes=("outside_reference", "constant_differential_pressure", "proportional_pressure"),
        static_share=(0.1, 0.45),
        droop=(0.15, 0.35),
        best_flow_m3h=(4.0, 30.0),
        best_head_m=(5.0, 14.0),
        noise=(0.003, 0.008),
        has_fluid_temperature=False,
    ),
    Family(
        name="P",
        tuned_on=True,
        fluids=("water", "propylene_glycol", "ethylene_glycol"),
        droop=(0.2, 0.48),
        droop_exponent=(1.4, 2.4),
        best_flow_m3h=(25.0, 200.0),
        best_head_m=(8.0, 40.0),
        wander=(0.05, 0.15),
        weather_gain=(0.0, 0.02),
        fluid_temperature_c=(6.0, 75.0),
    ),
)

FRESH: Final = (
    Family(
        name="Q",
        tuned_on=False,
        droop=(0.1, 0.35),
        droop_exponent=(1.6, 2.8),
        zero_flow_power=(0.28, 0.6),
        best_flow_m3h=(6.0, 120.0),
        best_head_m=(5.0, 32.0),
        noise=(0.002, 0.008),
        head_step_m=(0.01, 0.05, 0.1),
        wander=(0.03, 0.14),
    ),
    Family(
        name="R",
        tuned_on=False,
        modes=("outside_reference", "constant_differential_pressure", "proportional_pressure"),
        static_share=(0.05, 0.5),
        droop=(0.12, 0.4),
        best_flow_m3h=(3.0, 40.0),
        best_head_m=(4.0, 16.0),
        noise=(0.003, 0.008),
        has_fluid_temperature=False,
    ),
    Family(
        name="S",
        tuned_on=False,
        fluids=("water", "propylene_glycol", "ethylene_glycol"),
        droop=(0.15, 0.5),
        droop_exponent=(1.4, 2.3),
        zero_flow_power=(0.3, 0.5),
        best_flow_m3h=(20.0, 260.0),
        best_head_m=(8.0, 42.0),
        weather_gain=(0.0, 0.02),
        fluid_temperature_c=(5.0, 80.0),
        temperature_wander_c=(0.5, 5.0),
        slow_bias=(0.002, 0.006),
    ),
)
