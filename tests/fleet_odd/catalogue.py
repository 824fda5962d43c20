"""The odd pumps, one family a row: what each is like, and what is wrong with its faulty twin."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from api.analytics.facts import Provenance
from api.analytics.finding import Kind
from tests.fleet_odd import demand, happenings
from tests.fleet_odd.families import Fault, Odd, loses_head, minus
from tests.fleet_odd.happenings import Happening, Tampering
from tests.fleet_odd.plant import Sensors

_METER_IS_WRONG: Final = frozenset({Kind.SYSTEM_CHANGE, Kind.RESISTANCE_RISE, Kind.FLOW_METER_SHIFT})
"""True of a sound pump whose meter shows another's flow, or the end of its own range."""
_NO_NOISE: Final = Sensors(noise=0.0, drift=0.0, head_step_m=0.05)
_DROOPING: Final = {"linear": (0.3, 0.4), "quadratic": (-0.4, -0.33)}
_SMALL: Final = {"shutoff_head_m": (3.5, 5.0), "duty_flow_m3h": (1.5, 3.0)}


def _damped(noise: float) -> Sensors:
    return Sensors(noise=noise, drift=0.002)


def _register(tamper: Tampering, own_kind: Kind, cause: str) -> Fault:
    """Return a register that no longer tells the truth, of a pump that is well."""
    kinds = frozenset({Kind.FROZEN_READING, Kind.NOT_ASSESSABLE, own_kind})
    return Fault(kinds=kinds, causes=frozenset({cause, "wrong_register"}), tamper=tamper, onset_day=45.0)


def _shifted(happening: Happening, sizes: tuple[float, ...], kind: Kind, *causes: str) -> Fault:
    return Fault(
        kinds=frozenset({kind}),
        causes=frozenset(causes),
        sizes=sizes,
        happen=lambda _: happening,
        effect=lambda size: size,
    )


_HEAD_SENSOR: Final = (Kind.HEAD_SENSOR_SHIFT, "head_sensor_reads_low", "head_sensor_reads_high")
_HEAD_GAIN: Final = (*_HEAD_SENSOR, "head_sensor_gain_fell")
"""A share of head that is missing looks like passages that became rough: named together, as a loss."""
_FLOW_METER: Final = (Kind.FLOW_METER_SHIFT, "flow_meter_reads_low", "flow_meter_reads_high")
_CONTRADICTED: Final = Fault(
    kinds=frozenset(), causes=frozenset({"provenance_contradicted"}), onset_day=0.0, sizes=(0.0,)
)


def _head_lost(power_follows: float, ramp_days: float = 0.0) -> Fault:
    # With power unchanged a sensor that reads low looks the same, so that either name is right.
    kinds = {Kind.HEAD_LOSS} if power_follows else {Kind.HEAD_LOSS, Kind.HEAD_SENSOR_SHIFT}
    return Fault(
        kinds=frozenset(kinds),
        sizes=(0.04, 0.06, 0.08),
        happen=lambda _: happenings.head_loss(power_follows),
        effect=minus,
        ramp_days=ramp_days,
        onset_day=45.0,
    )


DUTIES: Final = (
    Odd(name="one_duty", demand=demand.one_duty),
    Odd(name="one_speed", demand=demand.one_speed),
    Odd(name="two_speeds", demand=demand.two_speeds),
    Odd(name="fixed_flow_over_speed", demand=demand.fixed_ratio),
    Odd(name="droopy_part_load", demand=demand.part_load, **_DROOPING),  # type: ignore[arg-type]
    Odd(name="droopy_one_duty", demand=demand.droopy_one_duty, **_DROOPING),  # type: ignore[arg-type]
    Odd(name="seasonal_13_months", demand=demand.seasonal, days=393, step_s=900, fault=None),
    Odd(
        name="strainer_cleaned",
        demand=demand.usual,
        is_sound=False,
        days=130,
        fault=Fault(
            kinds=frozenset({Kind.RESISTANCE_RISE}),
            sizes=(0.3, 0.4),
            happen=happenings.strainer_loads,
            onset_day=50.0,
        ),
    ),
)

SENSORS: Final = (
    Odd(name="damped_0.2", sensors=_damped(0.002), days=85),
    Odd(name="damped_0.1", sensors=_damped(0.001), days=85),
    Odd(name="damped_0.05", sensors=_damped(0.0005), days=85),
    Odd(
        name="estimate_declared_so",
        demand=demand.trembling(demand.usual),
        sensors=_NO_NOISE,
        flow_and_head=Provenance.ESTIMATED,
        fault=loses_head(kinds=frozenset({Kind.NOT_ASSESSABLE}), effect=None),
        days=85,
    ),
    Odd(
        name="estimate_called_measured",
        demand=demand.trembling(demand.usual),
        sensors=_NO_NOISE,
        is_sound=False,
        fault=_CONTRADICTED,
        days=60,
    ),
    Odd(
        name="estimate_one_late",
        demand=demand.trembling(demand.usual),
        sensors=_NO_NOISE,
        registers=happenings.head_one_reading_late,
        is_sound=False,
        fault=_CONTRADICTED,
        days=60,
    ),
    Odd(
        name="cut_off_30_estimated",
        demand=demand.trembling(demand.low_at_night(0.28)),
        sensors=replace(_NO_NOISE, flow_cut_off=0.3),
        flow_and_head=Provenance.ESTIMATED,
        step_s=60,
        days=45,
        fault=None,
    ),
    Odd(
        name="cut_off_20_measured",
        demand=demand.low_at_night(0.15),
        sensors=Sensors(flow_cut_off=0.2),
        step_s=60,
        days=45,
        fault=Fault(
            kinds=frozenset({Kind.CLOSED_DISCHARGE}),
            happen=happenings.valve_closed,
            spell_minutes=happenings.CLOSED_MINUTES,
            sizes=(1.0,),
            onset_day=35.0,
        ),
    ),
    Odd(
        name="flow_saturates",
        demand=demand.opened_later(0.85, 1.2, 60),
        sensors=Sensors(flow_range=0.75),
        expected=_METER_IS_WRONG,
        fault=None,
    ),
    Odd(
        name="speed_1_pct_setpoint_moves",
        demand=demand.nearly_one_speed(0.844, 0.846, 60),
        sensors=Sensors(speed_step_rpm=29.0),
    ),
    Odd(
        name="speed_half_hz_of_60",
        sensors=Sensors(speed_step_rpm=3500 / 120),
        rated_speed_rpm=3500.0,
    ),
    Odd(name="power_10_w_steps", sensors=Sensors(power_step_w=10.0), **_SMALL),  # type: ignore[arg-type]
    Odd(name="head_0.1_m_steps", sensors=Sensors(head_step_m=0.1), **_SMALL),  # type: ignore[arg-type]
    Odd(
        name="head_wrong_sign",
        registers=happenings.wrong_sign,
        is_sound=False,
        fault=Fault(
            kinds=frozenset({Kind.NOT_ASSESSABLE, Kind.HEAD_SENSOR_SHIFT}), sizes=(0.0,), onset_day=0.0
        ),
    ),
    Odd(name="gpm_read_as_m3h", registers=happenings.gpm_taken_for_m3h),
    Odd(name="feet_read_as_m", registers=happenings.feet_taken_for_m),
    Odd(
        name="header_meter_of_two",
        registers=happenings.header_meter,
        expected=_METER_IS_WRONG,
        days=110,
        fault=None,
    ),
)

TIMES: Final = (
    Odd(name="logs_of_15_min", step_s=900),
    Odd(name="logs_of_30_min", step_s=1800),
    Odd(
        name="one_hour_a_day",
        demand=demand.while_running(demand.usual, demand.one_hour_a_day),
        step_s=60,
        days=110,
        fault=loses_head(sizes=(0.06, 0.08)),
    ),
    Odd(
        name="mondays_only",
        demand=demand.while_running(demand.usual, demand.mondays),
        days=160,
        fault=loses_head(onset_day=100.0, sizes=(0.06, 0.08)),
    ),
    Odd(
        name="two_months_off",
        demand=demand.while_running(demand.usual, demand.two_months_off),
        days=140,
        fault=loses_head(onset_day=100.0),
    ),
    *(
        Odd(
            name=f"cycles_{on}_on_{off}_off",
            demand=demand.while_running(demand.one_speed, demand.cycles(on, off)),
            starts_per_hour_limit=12.0,
            step_s=60,
            days=80,
            fault=loses_head(sizes=(0.06, 0.08), onset_day=50.0),
        )
        for on, off in ((5, 5), (2, 6))
    ),
    *(
        Odd(
            name=f"random_starts_{each}_an_hour",
            demand=demand.while_running(demand.one_speed, demand.random_starts(each)),
            step_s=60,
            days=58,
            fault=Fault(
                kinds=frozenset({Kind.REPEATED_STARTS}),
                happen=happenings.keeps_tripping,
                spell_minutes=happenings.TRIPPING_MINUTES,
                sizes=(12.0,),
                onset_day=40.0,
            ),
        )
        for each in (1, 2, 3)
    ),
)

FAULTS: Final = tuple(
    Odd(name=name, is_sound=False, fault=fault, days=days)
    for name, fault, days in (
        (
            "flow_meter_dead",
            _register(happenings.dead("flow_m3h"), Kind.FLOW_METER_SHIFT, "flow_meter_reads_low"),
            75,
        ),
        (
            "flow_stuck",
            _register(happenings.stuck("flow_m3h"), Kind.FLOW_METER_SHIFT, "flow_meter_reads_low"),
            75,
        ),
        (
            "head_stuck",
            _register(happenings.stuck("head_m"), Kind.HEAD_SENSOR_SHIFT, "head_sensor_reads_low"),
            75,
        ),
        (
            "power_stuck",
            _register(happenings.stuck("power_w"), Kind.POWER_READING_SHIFT, "power_reads_low"),
            75,
        ),
        (
            "power_stuck_and_10_pct_worn",
            loses_head(sizes=(0.10,), tamper=happenings.stuck("power_w"), onset_day=50.0),
            85,
        ),
        (
            "power_restless_and_10_pct_worn",
            loses_head(sizes=(0.10,), tamper=happenings.restless_power, onset_day=50.0),
            85,
        ),
        ("head_step_power_same", _head_lost(0.0), 85),
        ("head_step_power_falls", _head_lost(0.85), 85),
        ("head_step_proportional", _head_lost(1.0), 85),
        ("head_ramp_power_same", _head_lost(0.0, ramp_days=60.0), 120),
        ("head_ramp_power_falls", _head_lost(0.85, ramp_days=60.0), 120),
        (
            "head_sensor_gain",
            _shifted(happenings.gain("head_m"), (0.05, -0.05, 0.08, -0.08), *_HEAD_GAIN),
            100,
        ),
        (
            "head_sensor_offset",
            _shifted(happenings.offset("head_m"), (0.05, -0.05, 0.08), *_HEAD_SENSOR),
            100,
        ),
        (
            "flow_meter_gain",
            _shifted(happenings.gain("flow_m3h"), (0.10, -0.10, 0.20, -0.20), *_FLOW_METER),
            100,
        ),
        ("flow_meter_offset", _shifted(happenings.offset("flow_m3h"), (0.10, -0.10), *_FLOW_METER), 100),
    )
)

CATALOGUE: Final = {odd.name: odd for odd in (*DUTIES, *SENSORS, *TIMES, *FAULTS)}
