"""What a pump can be: limits for speed, power, flow and head together, wide enough for any healthy pump.

Each limit that is passed is a doubt, in widths: how far beyond it the value lies, as a logarithm over
``WIDTH``. The limits are common practice where no source stands beside them.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from api.analytics.energy import wire_to_water_efficiency
from api.proving.stated import Stated

WIDTH: Final = 0.05
"""Five per cent beyond a limit is one width."""
SURE: Final = 3.0
"""So many widths beyond a limit, a value is wrong: 16 %."""

SPEED_OVER_RATED: Final = (0.1, 1.25)
"""A drive may run a 50 Hz motor at 60 Hz; below a tenth no pump moves water."""
SPEED_RPM: Final = (150.0, 8000.0)
"""Where no rated speed is stated."""
USUAL_LEAST_EFFICIENCY: Final = 0.2
"""Wire to water. Near a closed valve and for the smallest circulators it falls to nothing, so that less is
only a question."""
BEST_EFFICIENCY: Final = 0.90
"""Wire to water, which no pump set passes: some 0.92 of the best large pump, 0.965 of the best motor and 0.98
of its drive make 0.87 (from memory); more than this holds for nobody."""
ENERGY_IS_KNOWN_TO: Final = 0.07
"""Flow within 5 %, head within 4 %, power within 3 % (common practice), taken together as independent.
Efficiency is called wrong when its lower end, too, lies above the limit; when only its middle does, it is
open."""
HEAD_OVER_PRINTED: Final = (0.85, 1.15)
"""ISO 9906 grade 3B allows 7 % of head, and 9 % of flow (from memory); sensors and wear take the rest."""
FLOW_SLACK: Final = 0.1
FLOW_OVER_PRINTED_END: Final = 1.3
POWER_OVER_PRINTED: Final = (0.8, 1.5)
"""The printed power may be that of the shaft: motor and drive then lose up to a third on top."""
EFFICIENCY_OVER_PRINTED: Final = (0.65, 1.15)
SURE_OF_NATURE: Final = math.log(1 + ENERGY_IS_KNOWN_TO) / WIDTH
LEAST_SHARE_OF_FLOW: Final = 0.05
"""At less of the printed flow, efficiency says nothing."""
RUNNING_RPM: Final = 60.0
IDLE_SHARE: Final = 0.05
"""A drive whose motor stands takes less of its rated power than this."""
IDLE_W: Final = 30.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Duty:
    """One moment of a pump in our units; ``None`` where nothing was read."""

    speed_rpm: float | None = None
    power_w: float | None = None
    flow_m3h: float | None = None
    head_m: float | None = None

    def efficiency(self, density_kg_m3: float) -> float | None:
        """Return the wire-to-water efficiency [-]; ``None`` unless water was moved and lifted by power."""
        if not (self.power_w and self.flow_m3h and self.head_m):
            return None
        if min(self.power_w, self.flow_m3h, self.head_m) <= 0:
            return None
        return wire_to_water_efficiency(self.flow_m3h, self.head_m, self.power_w, density_kg_m3)


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """A limit that was passed: of which quantities, by how much, and whether a sound pump may do so too.

    Nothing holds that lies beyond a limit of nature (``is_physical``), however little.
    """

    name: str
    channels: tuple[str, ...]
    widths: float
    is_question: bool = False
    is_physical: bool = False

    @property
    def is_sure(self) -> bool:
        """Whether no sound pump does this."""
        least = SURE_OF_NATURE if self.is_physical else SURE
        return not self.is_question and self.widths >= least

    @property
    def is_in_between(self) -> bool:
        """Whether a limit of nature is passed by so little that the instruments may be all there is to it."""
        return self.is_physical and not self.is_sure


def is_running(duty: Duty, stated: Stated) -> bool:
    """Return whether the pump turns: by its speed, or by what it draws where the speed says otherwise."""
    if duty.speed_rpm is not None and duty.speed_rpm > RUNNING_RPM:
        return True
    least_w = IDLE_W if stated.rated_power_w is None else IDLE_SHARE * stated.rated_power_w
    return duty.power_w is not None and duty.power_w > least_w


def doubts(duty: Duty, stated: Stated) -> tuple[Doubt, ...]:
    """Return every limit that a running pump's values pass."""
    found = (*_speed(duty, stated), *_power(duty, stated), *_efficiency(duty, stated), *_sheet(duty, stated))
    return tuple(doubt for doubt in found if doubt.widths > 0)


def beyond(value: float, lowest: float, highest: float) -> float:
    """Return how many widths a value lies outside its limits; a value of nothing or less is far below.

    >>> round(beyond(1.1, 0.5, 1.0), 1), beyond(0.7, 0.5, 1.0)
    (1.9, 0.0)
    """
    if value <= 0:
        return 100.0 if lowest > 0 else 0.0
    high = -math.inf if highest == math.inf else math.log(value) - math.log(highest)
    low = math.log(lowest) - math.log(value) if lowest > 0 else -math.inf
    return min(100.0, max(0.0, high, low) / WIDTH)


def _speed(duty: Duty, stated: Stated) -> Iterator[Doubt]:
    if duty.speed_rpm is None:
        return
    rated = stated.rated_speed_rpm
    lowest, highest = SPEED_RPM if rated is None else (rated * share for share in SPEED_OVER_RATED)
    yield Doubt(name="speed", channels=("speed_rpm",), widths=beyond(duty.speed_rpm, lowest, highest))


def _power(duty: Duty, stated: Stated) -> Iterator[Doubt]:
    rated = stated.rated_power_w
    if duty.power_w is None:
        return
    if duty.power_w <= 0:
        yield Doubt(name="power", channels=("power_w",), widths=100.0)
    if rated is None:
        return
    lowest, highest = 0.003 * rated, 1.6 * rated
    channels: tuple[str, ...] = ("power_w",)
    if duty.speed_rpm is not None and duty.speed_rpm > 0 and stated.rated_speed_rpm is not None:
        cube = (duty.speed_rpm / stated.rated_speed_rpm) ** 3
        # Affinity: power goes with the cube of speed; the drive's own losses do not.
        lowest, highest = 0.04 * rated * min(cube, 1.0), min(highest, rated * (1.4 * cube + 0.15))
        channels = ("power_w", "speed_rpm")
    yield Doubt(name="power", channels=channels, widths=beyond(duty.power_w, lowest, highest))


def _efficiency(duty: Duty, stated: Stated) -> Iterator[Doubt]:
    efficiency = duty.efficiency(stated.density_kg_m3)
    if efficiency is None:
        return
    channels = ("flow_m3h", "head_m", "power_w")
    high = beyond(efficiency, 0.0, BEST_EFFICIENCY)
    yield Doubt(name="energy", channels=channels, widths=high, is_physical=True)
    low = beyond(efficiency, USUAL_LEAST_EFFICIENCY, math.inf)
    if stated.largest_flow_m3h is None or duty.speed_rpm is None:
        yield Doubt(name="energy_low", channels=channels, widths=low, is_question=True)


def _sheet(duty: Duty, stated: Stated) -> Iterator[Doubt]:
    speed, flow, end = duty.speed_rpm, duty.flow_m3h, stated.largest_flow_m3h
    if speed is None or flow is None or end is None or stated.rated_speed_rpm is None or speed <= 0:
        return
    share = flow / (end * speed / stated.rated_speed_rpm)
    yield Doubt(
        name="sheet_flow",
        channels=("flow_m3h", "speed_rpm"),
        widths=beyond(max(share, 1e-9), 0.0, FLOW_OVER_PRINTED_END),
    )
    if share > FLOW_OVER_PRINTED_END or share < -FLOW_SLACK:
        return
    yield from _sheet_head(duty, stated, flow, speed)
    yield from _sheet_power(duty, stated, flow, speed, share)


def _sheet_head(duty: Duty, stated: Stated, flow: float, speed: float) -> Iterator[Doubt]:
    if duty.head_m is None:
        return
    heads = [
        head
        for slack in (1 - FLOW_SLACK, 1.0, 1 + FLOW_SLACK)
        if (head := stated.printed_head_m(flow * slack, speed)) is not None
    ]
    lowest, highest = HEAD_OVER_PRINTED[0] * min(heads), HEAD_OVER_PRINTED[1] * max(heads)
    channels = ("head_m", "flow_m3h", "speed_rpm")
    yield Doubt(name="sheet_head", channels=channels, widths=beyond(duty.head_m, lowest, highest))


def _sheet_power(duty: Duty, stated: Stated, flow: float, speed: float, share: float) -> Iterator[Doubt]:
    printed_w = stated.printed_power_w(flow, speed)
    if not printed_w or duty.power_w is None:
        return
    lowest, highest = (limit * printed_w for limit in POWER_OVER_PRINTED)
    channels = ("power_w", "flow_m3h", "speed_rpm")
    yield Doubt(name="sheet_power", channels=channels, widths=beyond(duty.power_w, lowest, highest))
    printed_m = stated.printed_head_m(flow, speed)
    efficiency = duty.efficiency(stated.density_kg_m3)
    if efficiency is None or not printed_m or share < LEAST_SHARE_OF_FLOW:
        return
    printed = wire_to_water_efficiency(flow, printed_m, printed_w, stated.density_kg_m3)
    ratio = beyond(efficiency / printed, *EFFICIENCY_OVER_PRINTED)
    yield Doubt(name="sheet_energy", channels=("flow_m3h", "head_m", "power_w"), widths=ratio)
