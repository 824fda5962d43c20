"""JSON for programs, under ``/api``, and what watches the process."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, HTTPException, Query

from api.answers import pages
from api.answers.findings import iso_utc, listed_findings, plain_finding, pumps_behind
from api.answers.readings import first_rows
from api.answers.source import Source
from api.answers.weeks import listed_weeks
from api.routes.answers_json import (
    ChangeAnswer,
    FindingAnswer,
    FindingsAnswer,
    FindingWithHistory,
    Health,
    LiveAnswer,
    PumpAnswer,
    Readiness,
    ReadingsAnswer,
    SiteAnswer,
    Trouble,
    WeekAnswer,
)
from api.routes.inputs import (
    Acknowledgement,
    Answering,
    Moment,
    Name,
    NamedPump,
    Number,
    StateWord,
    milliseconds,
)
from api.store.stored_finding import State
from collector.quantities import QUANTITY_NAMES
from collector.reading import Source as Came
from dashboards.views import PumpRow

MOST_ROWS = 5000
NOT_FOUND: dict[int | str, dict[str, Any]] = {404: {"model": Trouble}}
FOREIGN: dict[int | str, dict[str, Any]] = {403: {"description": "not from a page of Owncurve"}}

router = APIRouter()
Limit = Annotated[int, Query(ge=1, le=MOST_ROWS)]


@router.get("/api/site", tags=["site"])
def site(source: Answering) -> SiteAnswer:
    """Tell what every pump does now: state, newest values, active findings."""
    frame = pages.page_frame(source)
    return SiteAnswer(
        name=frame.site_name,
        time_zone=frame.time_zone,
        now_utc=iso_utc(frame.now_utc_ms) or "",
        data_as_of_utc=iso_utc(frame.data_as_of_utc_ms),
        pumps=[_pump(row) for row in pages.site_rows(source)],
    )


def _pump(row: PumpRow) -> PumpAnswer:
    return PumpAnswer(
        name=row.name,
        state=row.state,
        location=row.location,
        system=row.system,
        duty=row.duty,
        last_reading_utc=iso_utc(row.last_reading_utc_ms),
        live=[
            LiveAnswer(
                quantity=item.quantity, value=item.value, quality=item.quality, provenance=item.provenance
            )
            for item in row.live
        ],
        active_finding_ids=[card.identity for card in row.findings],
        assessable_share=row.assessable_share,
        week_kwh_per_m3=row.week_kwh_per_m3,
        head_against_curve=row.head_against_curve,
        is_analysed=row.is_analysed,
    )


@router.get("/api/findings", tags=["findings"])
def findings(
    source: Answering,
    pump: Name | None = None,
    state: Annotated[list[StateWord] | None, Query()] = None,
    limit: Limit = 1000,
) -> FindingsAnswer:
    """List findings of one pump or all, in the states named or all: active first, then the most urgent."""
    states = [State(word) for word in state] if state else None
    return FindingsAnswer(**listed_findings(source, pump, states, limit))


@router.get("/api/findings/{finding_id}", tags=["findings"], responses=NOT_FOUND)
def finding(source: Answering, finding_id: Number) -> FindingWithHistory:
    """Give one finding with its history."""
    return _with_history(source, finding_id)


@router.post("/api/findings/{finding_id}/acknowledge", tags=["findings"], responses={**NOT_FOUND, **FOREIGN})
def acknowledge(source: Answering, finding_id: Number, by: Acknowledgement) -> FindingWithHistory:
    """Note that somebody has seen a finding; the first acknowledgement stays."""
    source.api_store.acknowledge(finding_id, source.clock.now_utc_ms(), by.role, by.note)
    return _with_history(source, finding_id)


def _with_history(source: Source, finding_id: int) -> FindingWithHistory:
    stored = source.api_store.finding(finding_id)
    if stored is None:
        raise HTTPException(404, f"There is no finding {finding_id}.")
    history = [
        ChangeAnswer(
            at_utc=iso_utc(change.at_utc_ms) or "", what=change.what, by_role=change.by_role, note=change.note
        )
        for change in source.api_store.changes(finding_id)
    ]
    plain = plain_finding(source, stored, pumps_behind(source, stored.finding.pump))
    return FindingWithHistory(finding=FindingAnswer(**plain), history=history)


@router.get("/api/energy", tags=["energy"])
def energy(source: Answering, pump: Name | None = None) -> list[WeekAnswer]:
    """List energy, volume and their ratio by local weeks, of one pump or all."""
    return [WeekAnswer(**week) for week in listed_weeks(source, pump)]


@router.get("/api/readings", tags=["readings"], responses=NOT_FOUND)
def readings(
    source: Answering, pump: NamedPump, start: Moment, end: Moment, limit: Limit = 1000
) -> ReadingsAnswer:
    """List readings of a pump from ``start`` up to ``end`` (exclusive), as they were stored."""
    rows = first_rows(source, pump, milliseconds(start), milliseconds(end), limit + 1)
    kept = rows[:limit]
    return ReadingsAnswer(
        pump=pump.name,
        columns=["time_utc", *QUANTITY_NAMES, "source"],
        rows=[[iso_utc(row[0]), *row[1:-1], Came(row[-1]).name.lower()] for row in kept],
        next_start_utc=iso_utc(rows[limit][0]) if len(rows) > limit else None,
    )


@router.get("/health", tags=["process"])
def health() -> Health:
    """Tell that the process answers."""
    return Health(status="alive")


@router.get("/ready", tags=["process"], responses={503: {"model": Trouble}})
def ready(source: Answering) -> Readiness:
    """Tell that the database can be read and written, and how old the newest reading is."""
    with source.api_store.write():
        frame = pages.page_frame(source)
    as_of = frame.data_as_of_utc_ms
    age_s = None if as_of is None else (frame.now_utc_ms - as_of) / 1000
    return Readiness(status="ready", data_as_of_utc=iso_utc(as_of), newest_reading_age_s=age_s)
