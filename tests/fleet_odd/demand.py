"""What may be asked of a pump: usual demand, one duty, two speeds, cycling, one hour a day, Mondays only."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from tests.fleet_odd.plant import BoolArray, Clock, Duty, wandering

Demand = Callable[[Clock, np.random.Generator], Duty]
Running = Callable[[Clock, np.random.Generator], BoolArray]


def usual(clock: Clock, rng: np.random.Generator) -> Duty:
    """Return a demand with a day, a weather and valves that wander."""
    speed = 0.8 + 0.1 * np.sin(2 * np.pi * (clock.hour - 9) / 24) + 0.05 * wandering(rng, clock.day, 1.0, 0.7)
    flow = (
        0.85 + 0.1 * np.sin(2 * np.pi * (clock.hour - 8) / 24) + 0.1 * wandering(rng, clock.day, 1 / 12, 0.8)
    )
    return Duty(
        speed=np.clip(speed, 0.4, 1.0), flow=np.clip(flow, 0.05, 1.5), runs=np.ones(len(flow), dtype=np.bool_)
    )


def one_speed(clock: Clock, rng: np.random.Generator) -> Duty:
    """Return a pump at one speed whose valves move."""
    return replace(usual(clock, rng), speed=np.full(len(clock.day), 0.85))


def one_duty(clock: Clock, rng: np.random.Generator) -> Duty:
    """Return a pump that does the same from the first day to the last."""
    return replace(one_speed(clock, rng), flow=np.full(len(clock.day), 0.85))


def two_speeds(clock: Clock, rng: np.random.Generator) -> Duty:
    """Return day and night speed on one system curve without static head: one flow/speed."""
    by_day = (clock.hour > 6) & (clock.hour < 22)
    return replace(one_duty(clock, rng), speed=np.where(by_day, 0.9, 0.7))


def fixed_ratio(clock: Clock, rng: np.random.Generator) -> Duty:
    """Return a closed loop whose valves never move: any speed, one flow/speed."""
    return replace(usual(clock, rng), flow=np.full(len(clock.day), 0.85))


def part_load(clock: Clock, rng: np.random.Generator) -> Duty:
    """Return a pump far too large: it works left of the top of a drooping curve."""
    duty = usual(clock, rng)
    return replace(duty, flow=duty.flow * 0.45)


def low_at_night(share: float) -> Demand:
    """Return a demand whose flow/speed falls to a share of the duty's [-] for six hours a night."""

    def demand(clock: Clock, rng: np.random.Generator) -> Duty:
        duty = usual(clock, rng)
        night = clock.hour < 6
        quiet = share * (1 + 0.04 * wandering(rng, clock.day, 1 / 24, 0.5))
        # The cut-off is of flow, so that the night's speed is held at rated for its share to be the flow's.
        return replace(duty, flow=np.where(night, quiet, duty.flow), speed=np.where(night, 0.99, duty.speed))

    return demand


def opened_later(before: float, after: float, day: float) -> Demand:
    """Return a usual demand whose flow is multiplied by one share before a day and by another after it."""

    def demand(clock: Clock, rng: np.random.Generator) -> Duty:
        duty = usual(clock, rng)
        return replace(duty, flow=duty.flow * np.where(clock.day < day, before, after))

    return demand


def droopy_one_duty(clock: Clock, rng: np.random.Generator) -> Duty:
    """Return one duty left of the top of a drooping curve."""
    duty = one_duty(clock, rng)
    return replace(duty, flow=duty.flow * 0.45)


def trembling(demand: Demand) -> Demand:
    """Return a demand whose flow trembles from reading to reading, as an estimate's does."""

    def tremble(clock: Clock, rng: np.random.Generator) -> Duty:
        duty = demand(clock, rng)
        return replace(duty, flow=duty.flow * (1 + 0.004 * rng.normal(size=len(duty.flow))))

    return tremble


def seasonal(clock: Clock, rng: np.random.Generator) -> Duty:
    """Return thirteen months of a heating circuit: valves half shut in summer, nothing ever changed."""
    duty = usual(clock, rng)
    year = np.cos(2 * np.pi * clock.day / 365.25)
    speed = np.clip(duty.speed + 0.08 * year, 0.4, 1.0)
    return replace(duty, flow=duty.flow * (0.85 + 0.25 * year), speed=speed)


def nearly_one_speed(before: float, after: float, day: float) -> Demand:
    """Return a setpoint of speed that moves by less than a coarse register can show."""

    def demand(clock: Clock, rng: np.random.Generator) -> Duty:
        return replace(usual(clock, rng), speed=np.where(clock.day < day, before, after))

    return demand


def while_running(demand: Demand, running: Running) -> Demand:
    """Return a demand that is asked for at times only."""

    def part_time(clock: Clock, rng: np.random.Generator) -> Duty:
        duty = demand(clock, rng)
        return replace(duty, runs=running(clock, rng))

    return part_time


def cycles(on_min: float, off_min: float) -> Running:
    """Return a pump that runs some minutes and rests some, day and night."""

    def running(clock: Clock, rng: np.random.Generator) -> BoolArray:
        return np.asarray(clock.day * 1440 % (on_min + off_min) < on_min, dtype=np.bool_)

    return running


def one_hour_a_day(clock: Clock, rng: np.random.Generator) -> BoolArray:
    """Return a pump that runs from eight to nine."""
    return np.asarray((clock.hour >= 8) & (clock.hour < 9), dtype=np.bool_)


def mondays(clock: Clock, rng: np.random.Generator) -> BoolArray:
    """Return a pump that runs one day of seven."""
    return np.asarray(clock.day.astype(np.int64) % 7 == 0, dtype=np.bool_)


def two_months_off(clock: Clock, rng: np.random.Generator) -> BoolArray:
    """Return a pump that rests from day 40 to day 100."""
    return np.asarray((clock.day < 40) | (clock.day > 100), dtype=np.bool_)


def random_starts(per_hour: float) -> Running:
    """Return a pump that is called for at random (Poisson), and runs 6 to 11 minutes at each call."""

    def running(clock: Clock, rng: np.random.Generator) -> BoolArray:
        minutes = int(clock.day[-1] * 1440) + 1
        runs = np.zeros(minutes + 60, dtype=np.bool_)
        now = 0
        while now < minutes:
            now += int(rng.exponential(60 / per_hour)) + 2
            length = int(rng.integers(6, 12))
            runs[now : now + length] = True
            now += length
        return np.asarray(runs[(clock.day * 1440).astype(np.int64)], dtype=np.bool_)

    return running
