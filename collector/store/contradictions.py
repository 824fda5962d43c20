"""Rows that were there already, but said otherwise."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Final

from sqlalchemy import Connection

from collector.quantities import QUANTITY_NAMES
from collector.store.dialect import fetch, marks

AT_ONCE: Final = 900
"""Below the 999 parameters that the oldest drivers take."""
SAME: Final = 1e-6
"""Relative: a value that took another way through units is still the same value."""


def contradictions(connection: Connection, pump_id: int, rows: Sequence[tuple[Any, ...]]) -> int:
    """Return how many rows differ from the stored reading of the same instant in a value both have.

    ``rows`` are in the column order of the reading table and of one pump.
    """
    return sum(
        _contradicting(connection, pump_id, rows[start : start + AT_ONCE])
        for start in range(0, len(rows), AT_ONCE)
    )


def _contradicting(connection: Connection, pump_id: int, rows: Sequence[tuple[Any, ...]]) -> int:
    statement = (
        f"SELECT time_utc_ms, {', '.join(QUANTITY_NAMES)} FROM reading"
        f" WHERE pump_id = ? AND time_utc_ms IN ({marks(connection, len(rows))})"
    )
    found = fetch(connection, statement, pump_id, *(row[0] for row in rows))
    stored = {time_utc_ms: values for time_utc_ms, *values in found}
    return sum(_differ(stored[row[0]], row[2 : 2 + len(QUANTITY_NAMES)]) for row in rows if row[0] in stored)


def _differ(stored: Sequence[float | None], ours: Sequence[float | None]) -> bool:
    if list(stored) == list(ours):
        return False
    return any(
        one is not None and other is not None and not math.isclose(one, other, rel_tol=SAME, abs_tol=SAME)
        for one, other in zip(stored, ours, strict=True)
    )
