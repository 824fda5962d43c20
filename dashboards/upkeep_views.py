"""What is told of work that falls due: frozen facts, ready to be worded."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    # Views of pages hold rows of this file.
    from dashboards.views import PageFrame

UpkeepState = Literal["due", "soon", "unknown", "not_yet"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Grease:
    """Grease for one bearing [g]; ``place`` says which, empty where nobody said."""

    grams: float
    place: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class UpkeepRow:
    """A task of a pump. ``used`` [-] is the share of the interval that runs out first, named by ``by``.

    ``done_utc_ms`` is when it was last recorded and ``done_by_work`` as what; without a record it is counted
    from ``since_utc_ms``, the first reading. ``run_h`` [h] is what ran since; of ``unseen_h`` [h] nothing is
    known. ``standing_since_utc_ms`` is when the pump last ran or was turned. ``about_utc_ms`` is when it will
    be due at the pace of the last weeks, or became due by days. ``record_as`` is the work that does it.
    """

    pump: str
    kind: str
    state: UpkeepState
    record_as: str
    name: str = ""
    note: str = ""
    by: str = ""
    used: float | None = None
    every_run_h: float | None = None
    every_days: float | None = None
    standing_days: float | None = None
    run_h: float | None = None
    unseen_h: float = 0.0
    since_utc_ms: int | None = None
    done_utc_ms: int | None = None
    done_by_work: str = ""
    standing_since_utc_ms: int | None = None
    about_utc_ms: int | None = None
    grease: tuple[Grease, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class UpkeepPage:
    """The tasks of one pump, or of all where ``pump`` is empty; the first due stands first."""

    frame: PageFrame
    rows: tuple[UpkeepRow, ...] = ()
    pump: str = ""
