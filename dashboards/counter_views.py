"""What a drive's own counters said of a period, beside what was integrated from readings."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

CounterFall = Literal["roll_over", "set_back", "other_drive"]


@dataclass(frozen=True, slots=True, kw_only=True)
class CounterNotice:
    """That a counter (``energy_kwh`` or ``run_time_h``) did not just go on, in the hour that begins then."""

    counter: str
    time_utc_ms: int
    what: CounterFall


@dataclass(frozen=True, slots=True, kw_only=True)
class Counters:
    """A drive's counters over a period; ``None`` where it has no such counter.

    ``across_gaps_kwh`` is the part of ``energy_kwh`` that was counted while nobody read. ``difference`` [-]
    is the integrated energy over the counter's, minus one, over ``hours_compared`` whole hours that both
    know; within ``resolution_kwh``, the counter's smallest step, it says nothing.
    """

    energy_kwh: float | None = None
    across_gaps_kwh: float = 0.0
    difference: float | None = None
    hours_compared: int = 0
    is_within_resolution: bool = False
    resolution_kwh: float = 0.0
    run_time_h: float | None = None
    notices: tuple[CounterNotice, ...] = ()
