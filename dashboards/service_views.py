"""What the page of a pump's service log is told: frozen facts, ready to be worded."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from dashboards.form_views import FormView
from dashboards.views import PageFrame


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """A number [-] with its 95 % interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class AnsweredView:
    """A finding that stood when the work was done, and what became of it.

    ``verdict`` is worked, partly, did_not_work, too_early or not_known. ``quantity`` is what it is a level
    of, empty where it comes in episodes: then ``quiet_h`` [h] are the running hours since it was last seen.
    ``checks`` are codes of what to check next, in order.
    """

    finding_id: int
    kind: str
    verdict: str
    quantity: str = ""
    known_at_utc_ms: int | None = None
    quiet_h: float | None = None
    seen_again_utc_ms: int | None = None
    checks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class EffectView:
    """What a piece of work did, as far as the readings tell.

    ``before`` and ``since`` are levels against the pump's own curve [-], ``change`` their relative change, by
    quantity: head and power at the same flow and speed, energy at the same flow and head, resistance of the
    system. ``kwh_per_m3`` [kWh/m³] and ``starts_per_h`` [1/h] are before and since; ``parts`` [kWh/m³] add up
    to the change of the former. ``is_expected`` is false where nothing measurable was expected of the work,
    ``is_judged`` is false where head and flow are not both measured, ``has_curve`` where no curve of its own
    was known before the work.
    """

    running_h: float
    until_utc_ms: int
    is_over: bool
    is_expected: bool = True
    is_judged: bool = True
    has_curve: bool = True
    before: Mapping[str, float] = field(default_factory=dict)
    since: Mapping[str, Interval] = field(default_factory=dict)
    change: Mapping[str, Interval] = field(default_factory=dict)
    days: Mapping[str, tuple[int, int]] = field(default_factory=dict)
    kwh_per_m3: tuple[float, float] | None = None
    parts: Mapping[str, float] = field(default_factory=dict)
    starts_per_h: tuple[float, float] | None = None
    answered: tuple[AnsweredView, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class TakenBack:
    """When an entry was taken back, by which role, and why."""

    time_utc_ms: int
    by_role: str
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ServiceEntry:
    """A piece of work: what was done, when, by which role, what they wrote, and what it did.

    ``finding_id`` is the finding that a person named as the reason.
    """

    number: int
    time_utc_ms: int
    kind: str
    new_baseline: bool = False
    by_role: str = ""
    note: str = ""
    finding_id: int | None = None
    taken_back: TakenBack | None = None
    effect: EffectView | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ServicePage:
    """A pump's service log, newest first, and the form that adds to it.

    ``reasons`` are findings that the work may answer, title by number.
    """

    frame: PageFrame
    pump: str
    entries: tuple[ServiceEntry, ...] = ()
    reasons: Mapping[str, str] = field(default_factory=dict)
    form: FormView = field(default_factory=FormView)
    back: FormView = field(default_factory=FormView)
