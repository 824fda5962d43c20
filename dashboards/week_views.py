"""What the page of a week is told: frozen facts, ready to be worded."""

from __future__ import annotations

from dataclasses import dataclass

from dashboards.upkeep_views import UpkeepRow
from dashboards.views import EnergyWeek, PageFrame


@dataclass(frozen=True, slots=True, kw_only=True)
class PumpWeek:
    """One pump's row in the week table: this week, and the one before to compare."""

    pump: str
    week: EnergyWeek
    before: EnergyWeek | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class WeeksCompared:
    """Energy per volume [kWh/m³] of this week and of the one before, over ``pumps`` that both have whole."""

    pumps: int
    kwh_per_m3: float
    before_kwh_per_m3: float


@dataclass(frozen=True, slots=True, kw_only=True)
class WeekPage:
    """All pumps of one week. ``previous_start_utc_ms``/``next_start_utc_ms`` are ``None`` at the ends.

    ``site`` sums over the pumps of this week, its ratios are ratios of sums; ``left_out`` are the pumps that
    no sum can hold, since the water would take more power than they draw. ``compared`` is the change on the
    week before over the same pumps, ``None`` where no pump has two whole weeks.
    """

    frame: PageFrame
    start_utc_ms: int
    end_utc_ms: int
    pumps: tuple[PumpWeek, ...]
    site: EnergyWeek | None = None
    left_out: tuple[str, ...] = ()
    compared: WeeksCompared | None = None
    previous_start_utc_ms: int | None = None
    next_start_utc_ms: int | None = None
    upkeep: tuple[UpkeepRow, ...] = ()
