"""A finding with its life: the state it is in, who acknowledged it, and every change with its time."""

from __future__ import annotations

import json
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from sqlalchemy import Row

from api.analytics.finding import Cause, Evidence, Finding, Kind, Priority


class State(StrEnum):
    """Where a finding is in its life. None is ever deleted."""

    ACTIVE = "active"
    RETURNED_TO_NORMAL = "returned_to_normal"
    """It stood, and does not stand any more (the term of IEC 62682)."""
    WITHDRAWN = "withdrawn"
    """Readings that arrived later, or were looked at again, no longer support it."""


class Change(StrEnum):
    """What can happen to a finding; the codes stand in its history and are worded by the pages."""

    RAISED = "raised"
    ACTIVE_AGAIN = "active_again"
    RETURNED_TO_NORMAL = "returned_to_normal"
    CLOSED_BY_WORK = "closed_by_work"
    """Recorded work started a new baseline: what was said of the pump before ends with it."""
    WITHDRAWN = "withdrawn"
    MERGED = "merged"
    """Two intervals turned out to be one; the older finding goes on."""
    PRIORITY_CHANGED = "priority_changed"
    CAUSES_CHANGED = "causes_changed"
    ACKNOWLEDGED = "acknowledged"


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredFinding:
    """A finding as the store holds it; ``acknowledged_utc_ms`` is ``None`` until somebody did."""

    finding_id: int
    finding: Finding
    state: State
    acknowledged_utc_ms: int | None = None
    acknowledged_by: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingChange:
    """What happened to a finding, when [ms UTC], and by which role (``"analysis"`` for the product)."""

    at_utc_ms: int
    what: str
    by_role: str
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingUpdate:
    """One finding to write: ``stored`` is what it replaces, ``None`` for a new one."""

    stored: StoredFinding | None
    finding: Finding
    state: State
    changes: tuple[Change, ...]


def finding_document(finding: Finding) -> str:
    """Return what has no column of its own as JSON text, the inverse of :func:`finding_of`."""
    return json.dumps(
        {
            "effect": finding.effect,
            "effect_low": finding.effect_low,
            "effect_high": finding.effect_high,
            "effect_unit": finding.effect_unit,
            "causes": [[list(cause.names), cause.weight] for cause in finding.causes],
            "evidence": [[item.name, item.value] for item in finding.evidence],
            "checks": list(finding.checks),
            "assessable_share": finding.assessable_share,
        },
        separators=(",", ":"),
    )


def finding_of(row: Row[Any]) -> Finding:
    """Return the finding of a row of the table ``finding``."""
    document: dict[str, Any] = json.loads(row.document)
    return Finding(
        pump=row.pump,
        kind=Kind(row.kind),
        first_utc_ms=row.first_utc_ms,
        last_utc_ms=row.last_utc_ms,
        active=row.state == State.ACTIVE,
        priority=Priority(row.priority),
        causes=tuple(Cause(names=tuple(names), weight=weight) for names, weight in document.pop("causes")),
        evidence=tuple(Evidence(name=name, value=value) for name, value in document.pop("evidence")),
        checks=tuple(document.pop("checks")),
        **document,
    )
