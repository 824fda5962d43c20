"""What happens to an odd pump or to its telemetry: to the true values, or to what the registers say of them.

``grown`` [-] is how far a happening has come at each reading: 0 before its onset, 1 once it is whole.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np
import pandas as pd

from tests.fleet_odd.plant import BoolArray, Clock, FloatArray, Signals

Happening = Callable[[Signals, FloatArray, float], None]
"""Changes true values in place, by a size [-]."""
Tampering = Callable[[pd.DataFrame, FloatArray], None]
"""Changes readings in place."""

SPELL_DAYS: Final = (0.0, 3.0, 6.0)
"""When the spells of a fault that comes and goes begin, in days after the onset."""
CLOSED_MINUTES: Final = 30.0
TRIPPING_MINUTES: Final = 180.0

FOOT_M: Final = 0.3048
GPM_M3H: Final = 0.2271247
"""International foot and US gallon a minute (NIST Special Publication 811, from memory)."""


def head_loss(power_follows: float) -> Happening:
    """Return a loss of head, the same share at every duty, of which power follows a share [-]."""

    def happen(true: Signals, grown: FloatArray, size: float) -> None:
        true.head_m *= 1 - size * grown
        true.power_w *= np.where(true.runs, 1 - size * power_follows * grown, 1.0)

    return happen


def gain(channel: str) -> Happening:
    """Return a sensor that reads a share too much, or with a negative size too little."""

    def happen(true: Signals, grown: FloatArray, size: float) -> None:
        getattr(true, channel)[:] *= 1 + size * grown

    return happen


def offset(channel: str) -> Happening:
    """Return a sensor whose zero has moved by a share of the running mean [-]."""

    def happen(true: Signals, grown: FloatArray, size: float) -> None:
        values = getattr(true, channel)
        values += np.where(true.runs, size * grown * float(values[true.runs].mean()), 0.0)

    return happen


def _spells(grown: FloatArray, minutes: float, clock: Clock) -> BoolArray:
    since = clock.day - clock.day[int(np.argmax(grown > 0))]
    spells = [(since >= day) & (since < day + minutes / 1440) for day in SPELL_DAYS]
    return np.asarray(np.logical_or.reduce(spells), dtype=np.bool_)


def valve_closed(clock: Clock) -> Happening:
    """Return a discharge valve that is shut for half an hour, three times."""

    def happen(true: Signals, grown: FloatArray, size: float) -> None:
        shut = _spells(grown, CLOSED_MINUTES, clock) & true.runs
        speed = true.speed_rpm[shut] / true.pump.rated_speed_rpm
        none = np.zeros(int(shut.sum()))
        true.flow_m3h[shut] = 0.0
        true.head_m[shut] = true.pump.head_m(speed, none)
        true.power_w[shut] = true.pump.power_w(speed, none)

    return happen


def keeps_tripping(clock: Clock) -> Happening:
    """Return three spells of three hours in which the pump starts every five minutes, and stops again."""

    def happen(true: Signals, grown: FloatArray, size: float) -> None:
        spell = _spells(grown, TRIPPING_MINUTES, clock)
        runs = clock.day * 1440 % 5 < 3
        like = int(np.argmax(true.runs))
        for channel in ("speed_rpm", "flow_m3h", "head_m", "power_w"):
            values = getattr(true, channel)
            rest = float(values[~true.runs][0])
            values[spell] = np.where(runs[spell], values[like], rest)
        true.runs[spell] = runs[spell]

    return happen


def strainer_loads(clock: Clock) -> Happening:
    """Return a strainer that loads within ten days and is cleaned after forty; the pump itself is well."""

    def happen(true: Signals, grown: FloatArray, size: float) -> None:
        since = clock.day - clock.day[int(np.argmax(grown > 0))]
        kept = 1 - size * np.interp(since, [0, 10, 40, 40.01], [0.0, 1.0, 1.0, 0.0])
        speed = true.speed_rpm / true.pump.rated_speed_rpm
        flow = true.flow_m3h / (true.pump.duty_flow_m3h * np.maximum(speed, 1e-9)) * kept
        true.flow_m3h *= kept
        true.head_m[:] = np.where(true.runs, true.pump.head_m(speed, flow), 0.0)
        true.power_w[:] = np.where(true.runs, true.pump.power_w(speed, flow), true.power_w)

    return happen


def stuck(channel: str) -> Tampering:
    """Return a register that keeps the value it had at the onset."""

    def tamper(frame: pd.DataFrame, grown: FloatArray) -> None:
        later = grown > 0
        frame.loc[later, channel] = float(frame[channel].to_numpy()[int(np.argmax(later)) - 1])

    return tamper


def dead(channel: str) -> Tampering:
    """Return a register that reads 0 from the onset on."""

    def tamper(frame: pd.DataFrame, grown: FloatArray) -> None:
        frame.loc[grown > 0, channel] = 0.0

    return tamper


def restless_power(frame: pd.DataFrame, grown: FloatArray) -> None:
    """Let the power register alternate by 6 % every third reading, as of a drive that sums over odd spans."""
    swing = np.where(np.arange(len(frame)) // 3 % 2 == 0, 1.0, 1.06)
    frame["power_w"] *= np.where(grown > 0, swing, 1.0)


def head_one_reading_late(frame: pd.DataFrame, grown: FloatArray) -> None:
    """Let the head register be renewed after the others, so that it tells of the reading before."""
    frame["head_m"] = frame["head_m"].shift(1).bfill()


def wrong_sign(frame: pd.DataFrame, grown: FloatArray) -> None:
    """Let the two sides of a differential pressure sensor be swapped."""
    frame["head_m"] *= -1


def gpm_taken_for_m3h(frame: pd.DataFrame, grown: FloatArray) -> None:
    """Let the register be in US gallons a minute and the map say m³/h."""
    frame["flow_m3h"] /= GPM_M3H


def feet_taken_for_m(frame: pd.DataFrame, grown: FloatArray) -> None:
    """Let the register be in feet and the map say m."""
    frame["head_m"] /= FOOT_M


def header_meter(frame: pd.DataFrame, grown: FloatArray) -> None:
    """Let two pumps share one flow meter: the twin helps by day at first, and seldom from day 60 on."""
    day = frame.index.to_numpy() / 86_400_000
    hour = (day % 1) * 24
    before = (hour > 6) & (hour < 20)
    later = (hour > 9) & (hour < 12)
    together = np.where(day - day[0] < 60, before, later)
    frame["flow_m3h"] *= np.where(together, 2.0, 1.0)
