"""What the page of a pump's documents is told: frozen facts, ready to be worded."""

from __future__ import annotations

from dataclasses import dataclass, field

from dashboards.form_views import FormView
from dashboards.views import PageFrame


@dataclass(frozen=True, slots=True, kw_only=True)
class DocumentRow:
    """A document that is kept, or the line that stays of one removed (its title is empty then)."""

    identity: int
    title: str
    kind: str
    media_type: str
    size_bytes: int
    added_utc_ms: int
    added_by: str
    removed_utc_ms: int | None = None
    removed_by: str = ""

    @property
    def is_kept(self) -> bool:
        """Whether it can still be opened."""
        return self.removed_utc_ms is None


@dataclass(frozen=True, slots=True, kw_only=True)
class DocumentsPage:
    """A pump's documents, newest first, and the form that adds one; ``told`` is what was just done."""

    frame: PageFrame
    pump: str
    rows: tuple[DocumentRow, ...] = ()
    form: FormView = field(default_factory=FormView)
    told: str = ""
