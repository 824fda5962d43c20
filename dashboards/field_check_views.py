"""What is told of field checks: one visit, what it says, and the form for the next."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from dashboards.form_views import FormView

if TYPE_CHECKING:
    from dashboards.views import PageFrame


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldCheckLine:
    """The newest assessment by a field check: when, head over the expected head minus one [-], its interval.

    ``by`` is what the head was held against: ``earlier_check``, ``own_curve`` or ``data_sheet``.
    ``is_before_work`` holds where work on the pump was recorded since.
    """

    at_utc_ms: int
    effect: float
    low: float
    high: float
    by: str
    is_before_work: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class LossView:
    """Head against one reference: effect and 95 % interval [-].

    ``verdict`` is ``below``, ``as_expected`` or ``above``.
    """

    by: str
    effect: float
    low: float
    high: float
    verdict: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BesideView:
    """A measured value beside the mean of ``count`` readings of the drive, in the quantity's own unit.

    ``agreement`` is a code; ``declared`` what the site file says of the drive's value (``measured``,
    ``estimated``, ``unknown``); ``unit_mistake`` the wrong unit that would explain the difference, or empty.
    """

    quantity: str
    measured: float
    low: float
    high: float
    drive: float
    count: int
    agreement: str
    declared: str
    unit_mistake: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldCheckView:
    """One visit. ``parts_m`` is what each term gives to the head, ``from_m`` to its uncertainty [m].

    ``flow_from`` is ``strap_on``, ``shutoff``, ``drive`` or empty; ``unplaced`` the code of what kept the
    head from being held against a curve. ``losses`` are best first. ``causes`` and ``checks`` are codes.
    """

    check_id: int
    at_utc_ms: int
    minutes: float
    by_role: str
    note: str
    typed: Mapping[str, str]
    head_m: float | None
    head_low_m: float | None
    head_high_m: float | None
    parts_m: Mapping[str, float]
    from_m: Mapping[str, float]
    flow_m3h: float | None
    flow_from: str
    speed_rpm: float | None
    unplaced: str
    losses: tuple[LossView, ...] = ()
    beside: tuple[BesideView, ...] = ()
    causes: tuple[str, ...] = ()
    checks: tuple[str, ...] = ()
    corrects: int | None = None
    corrected_by: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldCheckPage:
    """A pump's field checks, newest first, and the form; ``known`` is what the site file fills into it."""

    frame: PageFrame
    pump: str
    checks: tuple[FieldCheckView, ...] = ()
    form: FormView = field(default_factory=FormView)
    known: Mapping[str, str] = field(default_factory=dict)
