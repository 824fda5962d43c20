"""Which waits to write into the site file, from how quickly the units answered."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Final

from collector.survey.result import Timing, UnitFound

SHARE: Final = 3.0
"""Long reads and a busy drive take longer than what was asked here (common practice)."""
MARGIN_S: Final = 0.1
"""An adapter's lumps and a busy computer [s]."""
SHORTEST_S: Final = 0.2
LONGEST_S: Final = 60.0
"""What a site file may hold."""
LEAST_LATE_S: Final = 1.0
"""As a bus has it where nothing is said."""
LATE_SHARE: Final = 2.0


def recommended_timing(units: Iterable[UnitFound]) -> Timing | None:
    """Return the time-out and how late a reply may be [s]; ``None`` when nothing was timed.

    Three times the slowest answer and a tenth of a second, rounded up to a tenth, and at least 0.2 s. A unit
    that was later than the time-out is given twice its lateness.
    """
    units = list(units)
    times_s = [unit.slowest_s for unit in units if unit.slowest_s is not None]
    if not times_s:
        return None
    timeout_s = min(max(_tenths_up(SHARE * max(times_s) + MARGIN_S), SHORTEST_S), LONGEST_S)
    late_s = max((unit.late_s for unit in units if unit.late_s is not None), default=0.0)
    return Timing(
        timeout_s=timeout_s,
        late_reply_s=min(max(LEAST_LATE_S, timeout_s, _tenths_up(LATE_SHARE * late_s)), LONGEST_S),
    )


def _tenths_up(seconds: float) -> float:
    return math.ceil(round(seconds * 10, 6)) / 10
