"""Like for like: the (flow/speed, speed) region a curve was learned in, as cells."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

FLOW_CELL: Final = 0.08
"""Width of a cell in flow over speed, as a share of the middle flow over speed."""
SPEED_CELL: Final = 0.06
"""Height of a cell in speed, as a share: affinity departures within it stay near 0.1 % of head."""
LEAST_HOURS_A_CELL: Final = 2
"""One hour in a cell may be a passing transient."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CellMap:
    """Cells seen: column = flow/speed over ``flow_step``, row = ln(speed) over ``SPEED_CELL``.

    ``flow_step`` in m3/h per rpm. ``cells`` are (column, row) pairs in order.
    """

    flow_step: float
    cells: tuple[tuple[int, int], ...]

    def covers(self, flow_m3h: ArrayLike, speed_rpm: ArrayLike) -> NDArray[np.bool_]:
        """Whether each point lies in a seen cell or beside one in flow/speed; broadcasts."""
        return self._holds(flow_m3h, speed_rpm, (-1, 0, 1))

    def holds(self, flow_m3h: ArrayLike, speed_rpm: ArrayLike) -> NDArray[np.bool_]:
        """Whether each point lies in a seen cell itself; broadcasts."""
        return self._holds(flow_m3h, speed_rpm, (0,))

    def _holds(self, flow_m3h: ArrayLike, speed_rpm: ArrayLike, sides: tuple[int, ...]) -> NDArray[np.bool_]:
        keys = _keys(flow_m3h, speed_rpm, self.flow_step)
        near = {column + side + row * _ROW for column, row in self.cells for side in sides}
        return np.isin(keys, np.fromiter(near, dtype=np.int64, count=len(near)))

    @classmethod
    def from_dict(cls, values: Mapping[str, Any]) -> CellMap:
        """Return the map written by ``dataclasses.asdict``."""
        return cls(flow_step=values["flow_step"], cells=tuple((int(a), int(b)) for a, b in values["cells"]))


_ROW: Final = 1_000_000
_NEVER: Final = 1_000_000_000


def cell_map(flow_m3h: NDArray[np.float64], speed_rpm: NDArray[np.float64]) -> CellMap:
    """Return the map of the cells that hold at least ``LEAST_HOURS_A_CELL`` of these hours."""
    flow_step = FLOW_CELL * float(np.median(flow_m3h / speed_rpm))
    keys, counts = np.unique(_keys(flow_m3h, speed_rpm, flow_step), return_counts=True)
    kept = keys[counts >= LEAST_HOURS_A_CELL]
    return CellMap(flow_step=flow_step, cells=tuple((int(key % _ROW), int(key // _ROW)) for key in kept))


@dataclass(frozen=True, slots=True, kw_only=True)
class Births:
    """Since when each cell has been known: its key, hours seen in it (two at most) and the day of the second.

    Arrays of one length, keys ascending; ``day`` is that of the first hour while there is only one.
    """

    flow_step: float
    key: NDArray[np.int64]
    hours: NDArray[np.int64]
    day: NDArray[np.int64]

    def with_hours(
        self, flow_m3h: NDArray[np.float64], speed_rpm: NDArray[np.float64], day: NDArray[np.int64]
    ) -> Births:
        """Return the births with later hours added; days ascend from call to call."""
        # Two hours of each cell are all that matters, the earliest.
        known, since = np.repeat(self.key, self.hours), np.repeat(self.day, self.hours)
        keys = np.concatenate([known, _keys(flow_m3h, speed_rpm, self.flow_step)])
        days = np.concatenate([since, day])
        order = np.lexsort((days, keys))
        cells, first, count = np.unique(keys[order], return_index=True, return_counts=True)
        hours = np.minimum(count, LEAST_HOURS_A_CELL)
        return Births(flow_step=self.flow_step, key=cells, hours=hours, day=days[order][first + hours - 1])

    def of(self, flow_m3h: NDArray[np.float64], speed_rpm: NDArray[np.float64]) -> NDArray[np.int64]:
        """Return for each hour the day on which its cell, or one beside it, held its second hour."""
        born = np.where(self.hours >= LEAST_HOURS_A_CELL, self.day, _NEVER)
        keys, group = np.unique(_keys(flow_m3h, speed_rpm, self.flow_step), return_inverse=True)
        near = np.full(len(keys), _NEVER)
        for side in (-1, 0, 1):
            place = np.searchsorted(self.key, keys + side)
            there = place < len(self.key)
            there[there] = self.key[place[there]] == keys[there] + side
            near[there] = np.minimum(near[there], born[place[there]])
        return near[group]


def no_births(flow_step: float) -> Births:
    """Return the births before any hour; ``flow_step`` in m3/h per rpm."""
    none = np.zeros(0, dtype=np.int64)
    return Births(flow_step=flow_step, key=none, hours=none, day=none)


def _keys(flow_m3h: ArrayLike, speed_rpm: ArrayLike, flow_step: float) -> NDArray[np.int64]:
    flow, speed = np.broadcast_arrays(np.asarray(flow_m3h, dtype=float), np.asarray(speed_rpm, dtype=float))
    safe = np.where(speed > 0, speed, 1.0)
    ratio = np.clip(np.nan_to_num(flow / safe / flow_step), 0, _ROW - 2)
    row = np.floor(np.log(np.maximum(safe, 1.0)) / SPEED_CELL)
    keys = np.floor(ratio).astype(np.int64) + 1 + row.astype(np.int64) * _ROW
    return np.where((speed > 0) & np.isfinite(flow), keys, -1)
