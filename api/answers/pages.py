"""What each page is told."""

from __future__ import annotations

from typing import Final

from api.analysis.pump_pass import curve_of
from api.answers.data_sheet import against_data_sheet
from api.answers.field_check_results import assessed
from api.answers.findings import card_with_history, cards, cards_over
from api.answers.pump_row import pump_row
from api.answers.repairs import after_work
from api.answers.source import Source
from api.answers.unwatched import unwatched
from api.answers.upkeep import upkeep
from api.answers.weeks import pump_weeks
from api.store.stored_finding import State, StoredFinding
from collector.site import Pump
from collector.store import HOUR_MS
from dashboards.views import (
    FindingPage,
    PageFrame,
    PumpPage,
    PumpRow,
    ServiceMark,
    SitePage,
    UnitSystem,
)

SCANS_UNTIL_STALE: Final = 6
SHORTEST_STALE_S: Final = 120.0
_FAILURES_SHOWN_MS: Final = 24 * HOUR_MS


def page_frame(source: Source, units: UnitSystem | None = None) -> PageFrame:
    """Return what stands around every page."""
    site = source.site
    ends = [span[1] for pump in site.pumps if (span := source.store.span(pump.name))]
    slowest = max((bus.interval_s for bus in site.buses), default=0.0)
    return PageFrame(
        site_name=site.name,
        time_zone=site.time_zone,
        units=units or site.units,
        now_utc_ms=source.clock.now_utc_ms(),
        data_as_of_utc_ms=max(ends, default=None),
        stale_after_s=max(SCANS_UNTIL_STALE * slowest, SHORTEST_STALE_S) * source.clock.speed_up,
        is_imported_only=not site.buses,
        currency=site.currency,
    )


def site_rows(source: Source) -> tuple[PumpRow, ...]:
    """Return every pump's row in the site file's order."""
    active: dict[str, list[StoredFinding]] = {}
    for item in source.api_store.findings(states=[State.ACTIVE]):
        active.setdefault(item.finding.pump, []).append(item)
    return tuple(pump_row(source, pump, active.get(pump.name, [])) for pump in source.site.pumps)


def site_page(source: Source, units: UnitSystem | None = None) -> SitePage:
    """Return the page of the site."""
    return SitePage(
        frame=page_frame(source, units),
        pumps=site_rows(source),
        over=cards_over(source),
        site_file=source.site.path.name,
    )


def pump_page(source: Source, pump: Pump, units: UnitSystem | None = None) -> PumpPage:
    """Return the page of a pump."""
    facts = source.facts(pump)
    stored = source.api_store.findings(pump.name)
    active = [item for item in stored if item.state is State.ACTIVE]
    curve = curve_of(source.api_store, facts)
    span = source.store.span(pump.name)
    return PumpPage(
        frame=page_frame(source, units),
        row=pump_row(source, pump, active),
        provenance={
            "speed": facts.speed,
            "power": facts.power,
            "flow": facts.flow,
            "head": facts.head,
        },
        findings=cards(source, stored, facts),
        weeks=pump_weeks(source, pump),
        services=services(source, pump),
        rated_speed_rpm=pump.rated_speed_rpm,
        rated_power_w=pump.rated_power_w,
        curve_hours=curve.hours if curve else 0,
        curve_first_utc_ms=curve.first_hour_utc_ms if curve else None,
        curve_last_utc_ms=curve.last_hour_utc_ms if curve else None,
        first_reading_utc_ms=span[0] if span else None,
        has_data_sheet=bool(pump.data_sheet),
        against_data_sheet=against_data_sheet(pump, curve),
        last_failure=_last_failure(source, pump),
        not_watched=unwatched(source, pump),
        upkeep=upkeep(source, [pump]),
        field_check=assessed(source, pump),
    )


def services(source: Source, pump: Pump) -> tuple[ServiceMark, ...]:
    """Return what people did to a pump, as marks for its charts."""
    return tuple(
        ServiceMark(
            time_utc_ms=record.event.time_utc_ms,
            kind=record.event.kind,
            new_baseline=record.event.new_baseline,
            note=record.note,
        )
        for record in source.api_store.service_log(pump.name)
    )


def _last_failure(source: Source, pump: Pump) -> str:
    now = source.clock.now_utc_ms()
    failures = source.store.failures(pump.name, now - _FAILURES_SHOWN_MS, now + HOUR_MS)
    return failures[-1].sentence if failures else ""


def finding_page(source: Source, finding_id: int, units: UnitSystem | None = None) -> FindingPage | None:
    """Return the page of a finding, ``None`` when there is none of this number."""
    card, stored = card_with_history(source, finding_id), source.api_store.finding(finding_id)
    if card is None or stored is None:
        return None
    frame = page_frame(source, units)
    return FindingPage(frame=frame, card=card, after_work=after_work(source, stored, frame.units))
