"""A pump's first day: what is written down of it, how far its own curve has come, and its acceptance."""

from __future__ import annotations

from dataclasses import asdict, replace
from typing import Any, Final

from api.analysis.pump_pass import curve_of
from api.analytics.curve import BASELINE_DAYS, baseline_start_utc_ms
from api.analytics.facts import PumpFacts
from api.analytics.limits import head_limits
from api.analytics.states.starts_table import starts_limit_per_hour
from api.answers.believed import is_doubted
from api.answers.data_sheet import against_data_sheet
from api.answers.documents import document_rows, must_be_known, plain_document
from api.answers.field_check_results import field_check_views
from api.answers.findings import iso_utc
from api.answers.mistakes import FieldMistakes, Gathered
from api.answers.pages import page_frame
from api.answers.pictures import Range, curve_picture_within
from api.answers.source import Source
from api.answers.unwatched import unwatched
from api.store.acceptance import accept_curve, acceptance_of
from api.store.documents import documents_of
from collector.site import Pump
from collector.store import HOUR_MS
from dashboards.field_check_views import FieldCheckView
from dashboards.form_views import FormView
from dashboards.handover_views import Baseline, HandoverPage
from dashboards.moments import clock_words
from dashboards.views import CurvePicture, UnitSystem
from dashboards.wording.terms import ROLES

LONGEST_NOTE: Final = 200
FIRST_READINGS_MS: Final = 7 * 24 * HOUR_MS
"""The first readings on the curve are those of the first week (our own choice): one with each weekday."""


def handover_page(
    source: Source, pump: Pump, units: UnitSystem | None = None, form: FormView | None = None
) -> HandoverPage:
    """Return a pump's first-day sheet."""
    facts = source.facts(pump)
    curve = curve_of(source.api_store, facts)
    limits = head_limits(facts, curve)
    span = source.store.span(pump.name)
    return HandoverPage(
        frame=page_frame(source, units),
        pump=pump,
        baseline=baseline_of(source, facts),
        starts_limit_per_hour=starts_limit_per_hour(facts),
        head_loss_notice=limits.effect,
        head_loss_evidence_sd=limits.z,
        bus=None if pump.bus is None else source.site.bus(pump.bus),
        provenance=pump.provenance.model_dump(),
        is_doubted=is_doubted(source, pump),
        first_reading_utc_ms=None if span is None else span[0],
        against_data_sheet=against_data_sheet(pump, curve),
        not_watched=unwatched(source, pump),
        documents=document_rows(source, pump),
        field_check=_newest_check(source, pump),
        form=form or FormView(),
    )


def _newest_check(source: Source, pump: Pump) -> FieldCheckView | None:
    valid = [view for view in field_check_views(source, pump) if view.corrected_by is None]
    return max(valid, key=lambda view: view.at_utc_ms, default=None)


def baseline_of(source: Source, facts: PumpFacts) -> Baseline:
    """Return how far a pump's own curve has come since its present baseline began."""
    since = baseline_start_utc_ms(facts)
    curve, stored = curve_of(source.api_store, facts), source.api_store.curve(facts.pump, since)
    if curve is None or stored is None:
        hours = source.api_store.hours(facts.pump, since)
        judged = 0 if hours.empty else int((hours["n_trusted"] > 0).sum())
        return Baseline(hours=judged, since_utc_ms=since, needed_days=BASELINE_DAYS)
    accepted = acceptance_of(source.api_store, facts.pump, since)
    return Baseline(
        state="full" if stored.is_full else "learning",
        hours=curve.hours,
        days=curve.days,
        needed_days=BASELINE_DAYS,
        since_utc_ms=since,
        first_utc_ms=curve.first_hour_utc_ms,
        last_utc_ms=curve.last_hour_utc_ms,
        accepted_utc_ms=accepted.accepted_utc_ms if accepted else None,
        accepted_by=accepted.by_role if accepted else "",
        accepted_note=accepted.note if accepted else "",
        is_of_this_curve=accepted is None or accepted.is_of_this_curve,
    )


def accept_baseline(source: Source, pump: Pump, *, role: str, note: str = "") -> None:
    """Record that a person takes the learned curve for this pump's own.

    Raises
    ------
    FieldMistakes
        When the curve is not full yet, somebody accepted it before, or a word cannot be right.
    """
    gathered = Gathered()
    gathered.take("role", lambda: must_be_known("role", role, ROLES), None)
    if len(note) > LONGEST_NOTE or not note.isprintable():
        gathered.refuse("note", f"should be one line of at most {LONGEST_NOTE} letters")
    gathered.must_be_right()
    since = baseline_start_utc_ms(source.facts(pump))
    now = source.clock.now_utc_ms()
    if not accept_curve(source.api_store, pump.name, since, at_utc_ms=now, role=role, note=note):
        raise FieldMistakes({"": _why_not(source, pump)})


def _why_not(source: Source, pump: Pump) -> str:
    own = baseline_of(source, source.facts(pump))
    if own.state == "none":
        return f"{pump.name} has no curve of its own yet ({own.hours} judged hours); nothing to accept"
    if own.state == "learning":
        return (
            f"the curve of {pump.name} is still being learned ({own.days} days so far, full after about "
            f"{own.needed_days} of running): it can be accepted once it changes no more"
        )
    by = ROLES.get(own.accepted_by, own.accepted_by).lower()
    on = clock_words(own.accepted_utc_ms or 0, source.site.time_zone)
    return (
        f"the curve of {pump.name} was accepted by the {by} on {on}; only recorded work that starts a new "
        "baseline replaces it"
    )


def first_readings(source: Source, pump: Pump, units: UnitSystem) -> CurvePicture:
    """Return the readings of the first week on the pump's curves."""
    ends = source.store.span(pump.name)
    first = 0 if ends is None else ends[0]
    last = 1 if ends is None else min(ends[1] + 1, first + FIRST_READINGS_MS)
    return replace(curve_picture_within(source, pump, Range(first, last), units), now=None, findings=())


def plain_handover(source: Source, pump: Pump) -> dict[str, Any]:
    """Return the sheet as programs read it, in SI units."""
    page = handover_page(source, pump)
    own = page.baseline
    known = {"name", "location", "system", "duty", "fluid", "glycol_mass_pct", "fluid_temperature_c"} | {
        "rated_speed_rpm", "rated_power_w", "nameplate", "taps", "control", "provenance", "data_sheet",
    }  # fmt: skip
    return {
        "pump": pump.model_dump(mode="json", include=known),
        "bus": pump.bus,
        "unit_id": pump.unit_id,
        "first_reading_utc": iso_utc(page.first_reading_utc_ms),
        "is_provenance_doubted": page.is_doubted,
        "baseline": {
            "state": own.state,
            "hours": own.hours,
            "days": own.days,
            "since_utc": iso_utc(own.since_utc_ms or None),
            "first_hour_utc": iso_utc(own.first_utc_ms),
            "last_hour_utc": iso_utc(own.last_utc_ms),
            "accepted_utc": iso_utc(own.accepted_utc_ms),
            "accepted_by": own.accepted_by or None,
            "accepted_note": own.accepted_note,
            "is_of_this_curve": own.is_of_this_curve,
        },
        "head_against_data_sheet": page.against_data_sheet,
        "starts_limit_per_hour": page.starts_limit_per_hour,
        "head_loss_notice": page.head_loss_notice,
        "head_loss_evidence_sd": page.head_loss_evidence_sd,
        "not_watched": [asdict(each) for each in page.not_watched],
        "documents": [plain_document(row) for row in documents_of(source.api_store, pump.name)],
    }
