"""How a family of odd pumps is described and drawn, healthy or with a fault whose truth is known."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from api.analytics.facts import Provenance, PumpFacts
from api.analytics.finding import Kind
from tests.fleet_odd.demand import Demand, usual
from tests.fleet_odd.happenings import Happening, Tampering, head_loss
from tests.fleet_odd.plant import DAY_MS, START_UTC_MS, Clock, FloatArray, Pump, Sensors, read, signals_of

Range = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """What is wrong with the faulty twin of a pump, and which answers are right.

    ``kinds`` are right by themselves, ``causes`` where the finding names one of them first. ``sizes`` [-] are
    taken in turn; ``effect`` [-] is what the finding's interval should then hold, ``None`` if it has no
    number. ``happen`` changes true values, ``tamper`` readings. The onset is at a random hour of its day;
    with ``spell_minutes`` the fault is there for so long at a time (:data:`happenings.SPELL_DAYS`) only.
    """

    kinds: frozenset[Kind]
    causes: frozenset[str] = frozenset()
    sizes: tuple[float, ...] = (0.04, 0.06)
    happen: Callable[[Clock], Happening] | None = None
    tamper: Tampering | None = None
    effect: Callable[[float], float] | None = None
    onset_day: float = 60.0
    ramp_days: float = 0.0
    spell_minutes: float | None = None


def minus(size: float) -> float:
    """Return the effect of a loss of a size [-]."""
    return -size


def loses_head(power_follows: float = 0.85, **more: object) -> Fault:
    """Return a worn pump: the loss of head is the same share at every duty, and power follows."""
    fault = Fault(kinds=frozenset({Kind.HEAD_LOSS}), happen=lambda _: head_loss(power_follows), effect=minus)
    return replace(fault, **more)  # type: ignore[arg-type]


@dataclass(frozen=True, slots=True, kw_only=True)
class Odd:
    """A family of odd pumps: healthy only without ``fault``, faulty only without ``is_sound``.

    ``expected`` are kinds that are right to say of a healthy one (its system did move). ``registers`` is what
    its drives always do to readings.
    """

    name: str
    demand: Demand = usual
    sensors: Sensors = field(default_factory=Sensors)
    days: int = 100
    step_s: int = 300
    rated_speed_rpm: float = 2900.0
    shutoff_head_m: Range = (8.0, 25.0)
    duty_flow_m3h: Range = (6.0, 50.0)
    linear: Range = (0.0, 0.1)
    quadratic: Range = (-0.45, -0.22)
    registers: Tampering | None = None
    flow_and_head: Provenance = Provenance.MEASURED
    starts_per_hour_limit: float | None = None
    expected: frozenset[Kind] = frozenset()
    fault: Fault | None = field(default_factory=loses_head)
    is_sound: bool = True

    def facts(self, pump: Pump, seed: int) -> PumpFacts:
        """Return what a tech would have typed of the pump."""
        return PumpFacts(
            pump=f"{self.name} {seed}",
            speed=Provenance.MEASURED,
            power=Provenance.MEASURED,
            flow=self.flow_and_head,
            head=self.flow_and_head,
            rated_speed_rpm=pump.rated_speed_rpm,
            interval_s=float(self.step_s),
            starts_per_hour_limit=self.starts_per_hour_limit,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Recording:
    """What a pump's telemetry said, what was typed of it, and what was true."""

    odd: Odd
    frame: pd.DataFrame
    facts: PumpFacts
    fault: Fault | None
    size: float
    onset_utc_ms: int | None


def record(odd: Odd, seed: int, *, faulty: bool = False) -> Recording:
    """Return the recording of one pump; the same family and seed give the same pump, faulty or not."""
    rng = np.random.default_rng([seed, *odd.name.encode()])
    pump = _draw(odd, rng)
    count = odd.days * 86_400 // odd.step_s
    clock = Clock(time_utc_ms=START_UTC_MS + np.arange(count, dtype=np.int64) * odd.step_s * 1000)
    fault = odd.fault if faulty else None
    onset_hour = float(rng.uniform(0, 24))
    true = signals_of(pump, odd.demand(clock, rng))
    size = fault.sizes[seed % len(fault.sizes)] if fault else 0.0
    grown = _grown(fault, onset_hour, clock)
    if fault and fault.happen:
        fault.happen(clock)(true, grown, size)
    frame = read(pump, odd.sensors, true, clock, rng)
    for tamper in (fault.tamper if fault else None, odd.registers):
        if tamper:
            tamper(frame, grown)
    onset = START_UTC_MS + int((fault.onset_day + onset_hour / 24) * DAY_MS) if fault else None
    facts = odd.facts(pump, seed)
    return Recording(odd=odd, frame=frame, facts=facts, fault=fault, size=size, onset_utc_ms=onset)


def _draw(odd: Odd, rng: np.random.Generator) -> Pump:
    return Pump(
        rated_speed_rpm=odd.rated_speed_rpm,
        shutoff_head_m=float(rng.uniform(*odd.shutoff_head_m)),
        duty_flow_m3h=float(rng.uniform(*odd.duty_flow_m3h)),
        linear=float(rng.uniform(*odd.linear)),
        quadratic=float(rng.uniform(*odd.quadratic)),
        efficiency=float(rng.uniform(0.5, 0.75)),
        zero_flow_power=float(rng.uniform(0.35, 0.6)),
    )


def _grown(fault: Fault | None, onset_hour: float, clock: Clock) -> FloatArray:
    if fault is None:
        return np.zeros(len(clock.day))
    since = clock.day - fault.onset_day - onset_hour / 24
    if not fault.ramp_days:
        return np.asarray(np.where(since >= 0, 1.0, 0.0), dtype=np.float64)
    return np.asarray(np.clip(since / fault.ramp_days, 0.0, 1.0), dtype=np.float64)
