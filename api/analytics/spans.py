"""An hour and a day in the unit of all times: milliseconds."""

from __future__ import annotations

from typing import Final

HOUR_MS: Final = 3_600_000
DAY_MS: Final = 24 * HOUR_MS
