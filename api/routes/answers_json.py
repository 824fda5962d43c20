"""The shapes of JSON answers. Names carry their units; times are ISO 8601 in UTC; null is no value."""

from __future__ import annotations

from pydantic import BaseModel


class CauseAnswer(BaseModel):
    """A likely cause; several names are causes that cannot be told apart from here."""

    names: list[str]
    weight: float


class FieldCheckAnswer(BaseModel):
    """The newest assessment by a field check: head over the expected head minus one [-], 95 % interval.

    ``held_against`` is ``earlier_check``, ``own_curve`` or ``data_sheet``; ``is_before_work`` holds where
    work on the pump was recorded since.
    """

    at_utc: str
    effect: float
    effect_low: float
    effect_high: float
    held_against: str
    is_before_work: bool


class FindingAnswer(BaseModel):
    """A finding. ``effect`` and its 95 % interval are in the unit that ``effect_unit`` names.

    ``is_seen_now`` is false where the newest reading does not show it or is old, or where it is over;
    ``is_analysed`` is false while its pump has readings that no analysis has looked at. ``fault_meaning`` is
    the manual's, as typed in; after a line break, what the manual says to check. ``field_check`` is of a pump
    that its readings cannot judge.
    """

    id: int
    pump: str
    kind: str
    priority: str
    first_utc: str
    last_utc: str
    state: str
    is_seen_now: bool
    is_analysed: bool
    acknowledged_utc: str | None
    acknowledged_by: str | None
    effect: float | None
    effect_low: float | None
    effect_high: float | None
    effect_unit: str
    causes: list[CauseAnswer]
    evidence: dict[str, float | None]
    checks: list[str]
    assessable_share: float | None
    fault_meaning: str
    field_check: FieldCheckAnswer | None


class NotWatchedAnswer(BaseModel):
    """Kinds of finding that a pump is not watched for and, as a code, why not.

    ``shorter_than_s`` [s] is set where only swings with a shorter period than that are not.
    """

    pump: str
    kinds: list[str]
    because: str
    shorter_than_s: float | None


class FindingsAnswer(BaseModel):
    """Findings, worst and newest first.

    ``pumps_not_analysed`` have readings newer than the last analysis: what is not listed of them is not
    known to be well. ``pumps_not_in_site_file`` have findings and have left the site file. ``not_watched``
    tells what no finding could tell of, as things stand.
    """

    pumps_not_analysed: list[str]
    pumps_not_in_site_file: list[str]
    not_watched: list[NotWatchedAnswer]
    findings: list[FindingAnswer]


class ChangeAnswer(BaseModel):
    """An entry of a finding's history."""

    at_utc: str
    what: str
    by_role: str
    note: str


class FindingWithHistory(BaseModel):
    """A finding and all that happened to it, oldest first."""

    finding: FindingAnswer
    history: list[ChangeAnswer]


class LiveAnswer(BaseModel):
    """The newest value of a quantity, or why there is none."""

    quantity: str
    value: float | None
    quality: str
    provenance: str


class PumpAnswer(BaseModel):
    """One pump now."""

    name: str
    state: str
    location: str
    system: str
    duty: str
    last_reading_utc: str | None
    live: list[LiveAnswer]
    active_finding_ids: list[int]
    assessable_share: float | None
    week_kwh_per_m3: float | None
    head_against_curve: float | None
    is_analysed: bool


class SiteAnswer(BaseModel):
    """The site and its pumps in the site file's order."""

    name: str
    time_zone: str
    now_utc: str
    data_as_of_utc: str | None
    pumps: list[PumpAnswer]


class CounterNoticeAnswer(BaseModel):
    """A counter that did not just go on: rolled over, was set back, or is another drive's."""

    counter: str
    hour_utc: str
    what: str


class WeekAnswer(BaseModel):
    """A pump's week from local midnight to local midnight; ratios are ratios of sums.

    ``share_with_readings`` is of the whole week, also of one that has not ended. ``is_possible`` is false
    where the water would take more power than the drive draws: a unit or a signal is wrong.
    ``energy_kwh`` is integrated from readings; ``counter_kwh`` is what the drive's own counter rose, of which
    ``counter_across_gaps_kwh`` while nobody read. ``integrated_over_counter`` is of the hours that both know.
    """

    pump: str
    week_start_utc: str
    week_end_utc: str
    energy_kwh: float | None
    volume_m3: float | None
    kwh_per_m3: float | None
    running_h: float
    starts: int
    mean_head_m: float | None
    efficiency: float | None
    is_possible: bool
    share_with_readings: float
    week_has_ended: bool
    cost: float | None
    counter_kwh: float | None
    counter_across_gaps_kwh: float | None
    integrated_over_counter: float | None
    counter_run_time_h: float | None
    counter_notices: list[CounterNoticeAnswer]


class ReadingsAnswer(BaseModel):
    """Readings of one pump: ``rows`` hold the values of ``columns`` in order, oldest first.

    ``source`` is polled, heard (from another master's polling) or imported.

    ``next_start_utc`` is where to go on asking when there were more than ``limit``.
    """

    pump: str
    columns: list[str]
    rows: list[list[str | float | None]]
    next_start_utc: str | None


class Health(BaseModel):
    """The process answers."""

    status: str


class Readiness(BaseModel):
    """The database can be read and written; how old the newest reading is [s]."""

    status: str
    data_as_of_utc: str | None
    newest_reading_age_s: float | None


class Trouble(BaseModel):
    """What went wrong, in one sentence."""

    detail: str
