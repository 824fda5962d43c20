"""What the page of a pump's service log is told: frozen facts, ready to be worded."""

from __future__ import annotations

from dataclasses import dataclass, field

from dashboards.form_views import FormView
from dashboards.views import PageFrame


@dataclass(frozen=True, slots=True, kw_only=True)
class ServiceEntry:
    """A piece of work: what was done, when, by which role, and what they wrote beside it."""

    time_utc_ms: int
    kind: str
    new_baseline: bool = False
    by_role: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ServicePage:
    """A pump's service log, newest first, and the form that adds to it."""

    frame: PageFrame
    pump: str
    entries: tuple[ServiceEntry, ...] = ()
    form: FormView = field(default_factory=FormView)
