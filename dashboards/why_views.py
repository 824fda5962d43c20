"""What the page that explains a week is told: frozen facts in SI units, ready to be worded and drawn."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from dashboards.views import EnergyWeek, FindingCard, PageFrame, UnitSystem

Against = Literal["before", "last_year", "baseline"]
"""The week before, the same week last year, or the weeks that the own curve was learned in."""
NotTold = Literal["", "no_curve", "new_baseline", "outside_region"]
"""Why pump and place on the curve can't be told apart."""
NoComparison = Literal["no_readings", "no_water", "impossible", "no_baseline", "no_whole_week"]


@dataclass(frozen=True, slots=True, kw_only=True)
class WhyPart:
    """A part of a change [kWh/m³]; ``ratio`` [-] is its factor now over then, ``None`` where it has none.

    The factor is head, density, efficiency, power over the own curve's, or the place's efficiency.
    """

    part: str
    kwh_per_m3: float
    ratio: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """A week held against another period, from ``start_utc_ms`` up to ``end_utc_ms``; the parts add up.

    ``share_before`` [-] is the share of that period with readings, ``judged_share`` [-] the share of the
    week's energy that could be held against the own curve. ``pumps`` are counted for a whole site, ``None``
    for one pump. ``has_measured_temperature``: densities follow the fluid's temperature hour by hour.
    """

    against: Against
    start_utc_ms: int
    end_utc_ms: int
    before_kwh_per_m3: float
    now_kwh_per_m3: float
    parts: tuple[WhyPart, ...]
    is_part_before: bool = False
    share_before: float = 1.0
    not_told: NotTold = ""
    judged_share: float = 0.0
    pumps: int | None = None
    has_measured_temperature: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class NotCompared:
    """That there is nothing to hold a week against, and why."""

    against: Against
    because: NoComparison


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingWorth:
    """What an active finding takes in such a week [kWh], over ``judged_share`` [-] of its energy.

    ``weeks_a_year`` makes a year at this week's use of it; ``None`` for a week that is not whole.
    """

    card: FindingCard
    extra_kwh: float
    low_kwh: float
    high_kwh: float
    judged_share: float
    weeks_a_year: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class OtherControlRow:
    """The week's counted hours under another control: energy then and as it was [kWh].

    ``setpoint_m`` is the head at the largest flow; ``counted_share`` [-] the share of the week's energy that
    was counted; ``short_share`` [-] the share of its volume that would have had too little head.
    """

    mode: str
    setpoint_m: float
    energy_kwh: float
    as_it_was_kwh: float
    counted_share: float
    short_share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Yardsticks:
    """The week's energy per volume as power per flow, beside the trade's yardsticks [W per US gallon/min]."""

    w_per_gpm: float
    heating_w_per_gpm: float
    cooling_w_per_gpm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class WhyPage:
    """One pump's week, or with ``pump`` ``None`` the site's, explained and priced.

    ``price_per_kwh`` is ``None`` where the site file states none: then all stays in kWh. ``no_worth`` says
    why other controls could not be tried: "no_curve" or "outside_region".
    """

    frame: PageFrame
    pump: str | None
    week: EnergyWeek
    comparisons: tuple[Compared | NotCompared, ...]
    price_per_kwh: float | None = None
    findings: tuple[FindingWorth, ...] = ()
    unpriced: tuple[FindingCard, ...] = ()
    controls: tuple[OtherControlRow, ...] = ()
    no_worth: NotTold = ""
    yardsticks: Yardsticks | None = None
    is_estimated: bool = False
    pumps: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class WhyPicture:
    """A comparison to be drawn."""

    name: str
    units: UnitSystem
    time_zone: str
    now_utc_ms: int
    week_start_utc_ms: int
    compared: Compared | NotCompared
