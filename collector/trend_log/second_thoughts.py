"""What speaks against a file once all of it was read: it contradicts the store, or its units cannot be."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from collector.quantities import QUANTITY_NAMES
from collector.store import ImportSession
from collector.store.merging import VALUES, Row
from collector.trend_log.errors import TrendLogError
from collector.units import REFERENCE_DENSITY_KG_M3, STANDARD_GRAVITY_M_S2

FEWEST_ROWS: Final = 20
"""Below this a share says little."""
CONTRADICTING_SHARE: Final = 0.10
"""Of the rows that can be compared. A log of the same pump at the same times has the same values, a few
corrected rows apart; a shifted one agrees only where the pump stood still (common practice)."""
HIGHEST_EFFICIENCY: Final = 0.9
"""Wire to water. The best large pumps, motors and drives give 0.90 * 0.96 * 0.97 = 0.84 (common practice)."""

_WATTS: Final = REFERENCE_DENSITY_KG_M3 * STANDARD_GRAVITY_M_S2 / 3600
"""Of 1 m³/h lifted by 1 m (ISO 17769-1, from memory)."""
_BINS_A_FACTOR_E: Final = 200
_A_BATCH: Final = 500
_POWER, _FLOW, _HEAD, _SPEED = (
    VALUES.start + QUANTITY_NAMES.index(name) for name in ("power_w", "flow_m3h", "head_m", "speed_rpm")
)


class WireToWater:
    """Hydraulic power over electric power of the readings of an import, in constant memory."""

    def __init__(self) -> None:
        self._weights: Counter[int] = Counter()
        self._rows = 0

    def add(self, rows: Sequence[Row]) -> None:
        """Take in readings, in the column order of the reading table; those at rest say nothing.

        Of a long batch a few hundred, evenly chosen, tell as much.
        """
        for row in rows[:: max(1, len(rows) // _A_BATCH)]:
            power, flow, head = row[_POWER], row[_FLOW], row[_HEAD]
            if power and flow and head and row[_SPEED] != 0 and flow * head > 0:
                ratio = _WATTS * flow * head / power
                self._rows += 1
                # By power, as a drive at rest draws a few watts while other pumps may push water through.
                self._weights[round(math.log(ratio) * _BINS_A_FACTOR_E)] += power

    def median(self) -> float | None:
        """Return the median [-], weighted by power, within half a percent; ``None`` when readings are few."""
        if self._rows < FEWEST_ROWS:
            return None
        half, seen = sum(self._weights.values()) / 2, 0.0
        for place in sorted(self._weights):
            seen += self._weights[place]
            if seen >= half:
                return math.exp(place / _BINS_A_FACTOR_E)
        return None


def must_agree(path: Path, session: ImportSession) -> None:
    """Refuse a file that contradicts much of what is stored at its instants.

    Raises
    ------
    TrendLogError
        That says how many rows and what may be wrong.
    """
    compared, against = session.rows_compared, session.rows_contradicting
    if compared >= FEWEST_ROWS and against > CONTRADICTING_SHARE * compared:
        raise TrendLogError(
            f"{path}: {against:,} of the {compared:,} rows that can be compared contradict what is there at "
            "the same instant; is it the right time zone (--tz), the right pump, the right unit, and do its "
            "times have seconds? Nothing was imported; with --keep-stored what is there stays and the new "
            "rows are imported"
        )


def must_be_possible(path: Path, efficiency: WireToWater) -> None:
    """Refuse readings that give the water more power than the drive takes.

    Raises
    ------
    TrendLogError
        That says how many times, and names the units that are mistaken most.
    """
    median = efficiency.median()
    if median is not None and median > HIGHEST_EFFICIENCY:
        raise TrendLogError(
            f"{path}: flow x head gives {median:.2g} times the electric power, and no pump gives more than "
            f"{HIGHEST_EFFICIENCY}: is flow in gpm, head in ft or power in kW? Nothing can be judged until "
            "that is right, and nothing was imported; say the unit, as in --column flow_m3h=HEADER:gpm, or "
            "import it as it is with --units-are-right"
        )
