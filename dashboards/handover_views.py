"""What the sheet of a pump's first day is told: frozen facts, ready to be worded."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from collector.site import Bus, Pump
from dashboards.document_views import DocumentRow
from dashboards.field_check_views import FieldCheckView
from dashboards.form_views import FormView
from dashboards.views import PageFrame, Unwatched

BaselineState = Literal["none", "learning", "full"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Baseline:
    """How far the own curve has come, and who accepted it.

    ``hours`` and ``days`` hold what counts of it so far, ``needed_days`` make it full. ``since_utc_ms`` is
    the work that began it, 0 for the first. ``is_of_this_curve`` is false where what was accepted is not the
    curve that is there now.
    """

    state: BaselineState = "none"
    hours: int = 0
    days: int = 0
    needed_days: int = 28
    since_utc_ms: int = 0
    first_utc_ms: int | None = None
    last_utc_ms: int | None = None
    accepted_utc_ms: int | None = None
    accepted_by: str = ""
    accepted_note: str = ""
    is_of_this_curve: bool = True

    @property
    def may_be_accepted(self) -> bool:
        """Whether a person may accept it now: it is full, and nobody accepted this one."""
        return self.state == "full" and (self.accepted_utc_ms is None or not self.is_of_this_curve)


@dataclass(frozen=True, slots=True, kw_only=True)
class HandoverPage:
    """A pump on its first day. ``bus`` is what it is read on, ``None`` where it is fed by trend logs.

    ``against_data_sheet`` [-] is the own curve's head over the printed one, minus one. Limits that hold:
    ``starts_limit_per_hour`` [1/h] (stated, or that of the published table), ``head_loss_notice`` [-] and
    ``head_loss_evidence_sd``. ``field_check`` is the newest visit with gauges or a flow meter.
    """

    frame: PageFrame
    pump: Pump
    baseline: Baseline
    starts_limit_per_hour: float
    head_loss_notice: float
    head_loss_evidence_sd: float
    bus: Bus | None = None
    provenance: Mapping[str, str] = field(default_factory=dict)
    is_doubted: bool = False
    first_reading_utc_ms: int | None = None
    against_data_sheet: float | None = None
    not_watched: tuple[Unwatched, ...] = ()
    documents: tuple[DocumentRow, ...] = ()
    field_check: FieldCheckView | None = None
    form: FormView = field(default_factory=FormView)
