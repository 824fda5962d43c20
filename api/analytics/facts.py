"""What a person has stated about a pump, as analytics need it; telemetry never changes it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum


class Provenance(StrEnum):
    """How the drive comes by a value."""

    MEASURED = "measured"
    ESTIMATED = "estimated"
    """Computed by the drive from speed and power with its built-in curve."""
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True, kw_only=True)
class ServiceEvent:
    """Something a person did to the pump: ``kind`` is a code such as ``impeller_changed``.

    Only an event with ``new_baseline`` starts a new baseline; nothing else ever does.
    """

    time_utc_ms: int
    kind: str
    new_baseline: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PumpFacts:
    """What is known of a pump before any reading of it.

    ``density_kg_m3`` is of the fluid at its usual temperature; ``interval_s`` the usual time between
    readings [s]; ``starts_per_hour_limit`` [1/h] a person's own limit, ``None`` for the default;
    ``fault_meanings`` what the manual says each fault code means, as typed in by the tech.
    ``head_loss_notice`` [-] and ``head_loss_evidence_sd`` [-] are how large and how sure, in standard errors,
    a change of head must be to be raised; ``None`` for the defaults. ``data_sheet`` are points of the maker's
    curve at rated speed: flow [m3/h], head [m], power [W] or ``None``.
    """

    pump: str
    speed: Provenance = Provenance.UNKNOWN
    power: Provenance = Provenance.UNKNOWN
    flow: Provenance = Provenance.UNKNOWN
    head: Provenance = Provenance.UNKNOWN
    rated_speed_rpm: float | None = None
    rated_power_w: float | None = None
    density_kg_m3: float = 998.2
    interval_s: float | None = None
    starts_per_hour_limit: float | None = None
    head_loss_notice: float | None = None
    head_loss_evidence_sd: float | None = None
    fault_meanings: Mapping[int, str] = field(default_factory=dict)
    events: tuple[ServiceEvent, ...] = ()
    data_sheet: tuple[tuple[float, float, float | None], ...] = ()

    @property
    def wear_can_be_seen(self) -> bool:
        """Whether flow and head are both measured: only then can wear show in them."""
        return self.flow is Provenance.MEASURED and self.head is Provenance.MEASURED
