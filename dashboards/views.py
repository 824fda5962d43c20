"""What each page is told: frozen facts in SI units, ready to be worded and drawn.

The answers side fills these; pages and figures only read them. Times are whole milliseconds UTC. An
array's missing value is NaN and draws as a gap. Codes (kinds, causes, checks, states) are plain strings.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from dashboards.counter_views import Counters
from dashboards.field_check_views import FieldCheckLine
from dashboards.upkeep_views import UpkeepRow

FloatArray = NDArray[np.float64]
TimeArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

UnitSystem = Literal["SI", "US"]
PumpState = Literal["running", "standing", "no_reply", "no_data", "old"]
FindingState = Literal["active", "returned_to_normal"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PageFrame:
    """What stands around every page.

    ``data_as_of_utc_ms`` is the newest reading of any pump, ``None`` when there is none yet. The page says
    that readings have stopped once the newest is older than ``stale_after_s`` [s] at ``now_utc_ms``.
    ``is_imported_only`` is true for a site without a bus: its data are never live, so never stale.
    ``is_known`` is false where nobody could ask for the newest reading.
    """

    site_name: str
    time_zone: str
    units: UnitSystem
    now_utc_ms: int
    data_as_of_utc_ms: int | None
    stale_after_s: float = 120.0
    is_imported_only: bool = False
    is_known: bool = True
    currency: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class LikelyCause:
    """A cause, or several that cannot be told apart, with its weight [-] 0 to 1."""

    names: tuple[str, ...]
    weight: float


@dataclass(frozen=True, slots=True, kw_only=True)
class EvidenceNumber:
    """A number that can be checked on the chart; the name carries the unit."""

    name: str
    value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """An entry in a finding's history: ``what`` is a code such as ``acknowledged``, ``by`` a role."""

    time_utc_ms: int
    what: str
    by: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingCard:
    """One finding with all that a person needs to act on it. Fields as in the analytics' finding.

    ``fault_meaning`` is what the manual says of a drive's fault code, as typed in by the tech; after a line
    break, what the manual says to check. ``is_seen_now`` is false where the newest reading does not show an
    active finding (the code is gone, the drive answers); then ``lost_share`` [-] is what a drive that
    answers again lost of the scans in the last ``lost_over_h`` [h]. ``as_of_utc_ms`` is set on an active one
    whose pump has had no reading for long: it stood then, and nobody knows of now. ``field_check`` is the
    newest assessment by a field check of a pump that readings cannot judge.
    """

    identity: int
    pump: str
    kind: str
    priority: str
    state: FindingState
    first_utc_ms: int
    last_utc_ms: int
    effect: float | None = None
    effect_low: float | None = None
    effect_high: float | None = None
    effect_unit: str = "fraction"
    causes: tuple[LikelyCause, ...] = ()
    evidence: tuple[EvidenceNumber, ...] = ()
    checks: tuple[str, ...] = ()
    assessable_share: float | None = None
    acknowledged_utc_ms: int | None = None
    acknowledged_by: str = ""
    fault_meaning: str = ""
    is_seen_now: bool = True
    lost_share: float | None = None
    lost_over_h: int = 1
    as_of_utc_ms: int | None = None
    history: tuple[Change, ...] = ()
    field_check: FieldCheckLine | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LiveValue:
    """The newest value of one quantity; ``None`` with the quality (lower case name) that explains it.

    ``quantity`` is a name of ``collector.quantities``, or ``efficiency`` [-] wire to water.
    """

    quantity: str
    value: float | None
    quality: str = "good"
    provenance: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PumpRow:
    """One pump in the list. ``findings`` are the active ones, worst first, information included.

    ``daily_energy_kwh`` holds one value a day, oldest first, for a quiet line of the last weeks.
    ``week_kwh_per_m3`` is the last seven days, ``week_before_kwh_per_m3`` the seven days before.
    ``head_against_curve`` [-] is the newest reading's head over its own curve's head, minus one.
    ``failure_kind`` is the code of the last failed scan where the state is ``no_reply``.
    ``is_analysed`` is false while there are readings that no analysis has looked at; ``analysis_failure`` is
    what is said of an analysis that failed. ``is_restated`` holds while the site file says other things of it
    than at its last analysis. ``old_s`` is how old [s] the newest reading is where the state is
    ``old``: everything here is then as of that reading.
    """

    name: str
    state: PumpState
    location: str = ""
    system: str = ""
    duty: str = ""
    last_reading_utc_ms: int | None = None
    live: tuple[LiveValue, ...] = ()
    findings: tuple[FindingCard, ...] = ()
    assessable_share: float | None = None
    week_kwh_per_m3: float | None = None
    week_before_kwh_per_m3: float | None = None
    head_against_curve: float | None = None
    daily_energy_kwh: FloatArray | None = None
    has_own_curve: bool = True
    is_analysed: bool = True
    analysis_failure: str = ""
    is_restated: bool = False
    old_s: float = 0.0
    failure_kind: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SitePage:
    """The site: its pumps in the site file's order (the page sorts them), and what is over."""

    frame: PageFrame
    pumps: tuple[PumpRow, ...] = ()
    over: tuple[FindingCard, ...] = ()
    site_file: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class EnergyWeek:
    """One week from local midnight to local midnight; ratios are ratios of sums.

    ``end_utc_ms`` is exclusive. ``share_with_readings`` [-] is of the week's whole length, so a week that
    still runs has a low share and ``has_ended`` false.
    """

    start_utc_ms: int
    end_utc_ms: int
    energy_kwh: float | None
    volume_m3: float | None
    kwh_per_m3: float | None
    running_h: float
    starts: int
    share_with_readings: float
    has_ended: bool = True
    mean_head_m: float | None = None
    efficiency: float | None = None
    cost: float | None = None
    counters: Counters | None = None

    @property
    def is_possible(self) -> bool:
        """Whether the water took no more power than was drawn; else a unit or a signal is wrong."""
        return self.efficiency is None or self.efficiency <= 1


@dataclass(frozen=True, slots=True, kw_only=True)
class ServiceMark:
    """Something a person did to the pump, shown as a mark on every chart."""

    time_utc_ms: int
    kind: str
    new_baseline: bool = False
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Unwatched:
    """Kinds of finding that a pump is not watched for and, as a code, why not.

    ``shorter_than_s`` [s] is set where only swings with a shorter period than that are not.
    """

    kinds: tuple[str, ...]
    because: str
    shorter_than_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PumpPage:
    """One pump. ``findings`` hold active and past ones, worst and newest first.

    ``provenance`` maps speed, power, flow, head to measured, estimated or unknown. ``curve_hours`` is the
    number of hours the own curve was learned from (0: none yet), first and last hour beside it.
    ``first_reading_utc_ms`` is the start of what is stored. ``against_data_sheet`` [-] is the own curve's
    head over that of the data sheet, minus one, at the usual duty.
    """

    frame: PageFrame
    row: PumpRow
    provenance: Mapping[str, str] = field(default_factory=dict)
    findings: tuple[FindingCard, ...] = ()
    weeks: tuple[EnergyWeek, ...] = ()
    services: tuple[ServiceMark, ...] = ()
    rated_speed_rpm: float | None = None
    rated_power_w: float | None = None
    curve_hours: int = 0
    curve_first_utc_ms: int | None = None
    curve_last_utc_ms: int | None = None
    first_reading_utc_ms: int | None = None
    has_data_sheet: bool = False
    against_data_sheet: float | None = None
    last_failure: str = ""
    not_watched: tuple[Unwatched, ...] = ()
    upkeep: tuple[UpkeepRow, ...] = ()
    field_check: FieldCheckLine | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingPage:
    """One finding with its history; ``after_work`` tells what recorded work did to it."""

    frame: PageFrame
    card: FindingCard
    after_work: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class ErrorPage:
    """Something could not be shown: the HTTP status and one sentence in the reader's words."""

    frame: PageFrame
    status: int
    sentence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveLine:
    """The pump's own curve at one speed: arrays of one length, in order of flow.

    ``head_band_m`` and ``power_band_w`` are half the width of the band in which its readings lie.
    ``learned`` is true where the curve was learned, false where it is only carried on.
    """

    speed_rpm: float
    flow_m3h: FloatArray
    head_m: FloatArray
    power_w: FloatArray
    head_band_m: FloatArray
    power_band_w: FloatArray
    learned: BoolArray


@dataclass(frozen=True, slots=True, kw_only=True)
class RegionPatch:
    """A closed outline of a part of the region in which the curve was learned (arrays of one length)."""

    flow_m3h: FloatArray
    head_m: FloatArray
    power_w: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class DataSheetPicture:
    """The maker's curve as typed in: arrays of one length at ``rated_speed_rpm``, ``power_w`` maybe empty.

    It is drawn at ``speeds_rpm`` by the affinity laws, as it stands where the rated speed is not known.
    """

    flow_m3h: FloatArray
    head_m: FloatArray
    power_w: FloatArray
    rated_speed_rpm: float | None
    speeds_rpm: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class DutyPoint:
    """Where the pump is now; where it was last if ``is_old``."""

    time_utc_ms: int
    is_old: bool = False
    speed_rpm: float
    flow_m3h: float
    head_m: float
    power_w: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CurvePicture:
    """All that the curve pictures (head over flow, power over flow, head against the curve) show.

    The readings are arrays of one length in order of time, at most 2,000. ``is_estimated``: the drive
    computes flow or head, so that wear cannot show. ``is_hourly``: each point is an hour's mean. ``earlier``:
    up to when [ms UTC] each baseline judged that work has ended, and its lines, maybe none; oldest first.
    """

    pump: str
    units: UnitSystem
    time_zone: str
    time_utc_ms: TimeArray
    speed_rpm: FloatArray
    flow_m3h: FloatArray
    head_m: FloatArray
    power_w: FloatArray
    lines: tuple[CurveLine, ...] = ()
    earlier: tuple[tuple[int, tuple[CurveLine, ...]], ...] = ()
    region: tuple[RegionPatch, ...] = ()
    now: DutyPoint | None = None
    is_estimated: bool = False
    is_hourly: bool = False
    data_sheet: DataSheetPicture | None = None
    findings: tuple[FindingSpan, ...] = ()
    services: tuple[ServiceMark, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class TrendSeries:
    """One quantity over time: at most 2,000 values, NaN where there is a gap.

    Where values stand for a bucket of time (labelled at its start), ``low`` and ``high`` keep the
    smallest and largest reading of it, so that a spike of one reading stays visible.
    """

    quantity: str
    time_utc_ms: TimeArray
    value: FloatArray
    low: FloatArray | None = None
    high: FloatArray | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingSpan:
    """A finding as an interval on the time axis."""

    identity: int
    kind: str
    priority: str
    first_utc_ms: int
    last_utc_ms: int
    is_active: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class TrendPicture:
    """Quantities of one pump over one range of time, one under the other, with findings and service marks."""

    pump: str
    units: UnitSystem
    time_zone: str
    start_utc_ms: int
    end_utc_ms: int
    series: tuple[TrendSeries, ...]
    findings: tuple[FindingSpan, ...] = ()
    services: tuple[ServiceMark, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class EnergyPicture:
    """Energy per volume week by week, oldest first."""

    pump: str
    units: UnitSystem
    time_zone: str
    weeks: tuple[EnergyWeek, ...]
    services: tuple[ServiceMark, ...] = ()
