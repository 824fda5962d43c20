"""Field checks: taken as they are typed, kept, and told on a page, in words and as JSON."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from api.analysis.frames import frame_between
from api.analytics.field_check import found, is_steady, reported
from api.answers.field_check_results import computed_of, field_check_views
from api.answers.field_check_typed import FIELDS, Typed, completed, known_of_taps, read_typed
from api.answers.findings import iso_utc
from api.answers.mistakes import FieldMistakes
from api.answers.pages import page_frame
from api.answers.source import Source
from api.store.field_checks import FieldCheck
from collector.site import Pump
from dashboards.field_check_views import FieldCheckPage, FieldCheckView
from dashboards.form_views import FormView
from dashboards.views import UnitSystem


def record_field_check(source: Source, pump: Pump, values: Mapping[str, str]) -> FieldCheckView:
    """Record a check from what was typed, by the names of ``FIELDS``, and return what it says.

    Raises
    ------
    FieldMistakes
        With a line for each field that cannot be right; nothing was recorded.
    """
    check = field_check(source, pump, values)
    number = source.api_store.add_field_check(pump.name, check)
    return next(view for view in field_check_views(source, pump) if view.check_id == number)


def field_check(source: Source, pump: Pump, values: Mapping[str, str]) -> FieldCheck:
    """Return a check from what was typed and what the drive reported in its minutes; nothing is kept.

    Raises
    ------
    FieldMistakes
        With a line for each field that cannot be right.
    """
    _must_be_fields(values)
    kept = completed(pump, values)
    typed = read_typed(source, kept)
    _must_be_new(source, pump, typed, kept)
    end = typed.at_utc_ms + round(typed.minutes * 60_000)
    readings = frame_between(source.store, pump.name, typed.at_utc_ms, end)
    reports = reported(readings)
    try:
        seen = found(typed.visit, source.facts(pump), reports, is_steady=is_steady(readings))
    except ValueError as error:
        raise FieldMistakes({"flow": f"is missing: {error}"}) from error
    return FieldCheck(
        at_utc_ms=typed.at_utc_ms,
        recorded_utc_ms=source.clock.now_utc_ms(),
        by_role=typed.role,
        note=typed.note,
        corrects=typed.corrects,
        typed=kept,
        computed=computed_of(seen, reports, typed.visit, typed.minutes),
    )


def _must_be_fields(values: Mapping[str, str]) -> None:
    unknown = {name: "is no field of a field check" for name in values if name not in FIELDS}
    if unknown:
        raise FieldMistakes(unknown)


def _must_be_new(source: Source, pump: Pump, typed: Typed, kept: Mapping[str, str]) -> None:
    stored = source.api_store.field_checks(pump.name)
    if typed.corrects is not None:
        other = next((each for each in stored if each.check_id == typed.corrects), None)
        if other is None:
            raise FieldMistakes({"corrects": f"{pump.name} has no field check {typed.corrects}"})
        if other.corrected_by is not None:
            later = other.corrected_by
            raise FieldMistakes({"corrects": f"{typed.corrects} was corrected by {later}; correct that one"})
    elif any((each.check.at_utc_ms, dict(each.check.typed)) == (typed.at_utc_ms, kept) for each in stored):
        raise FieldMistakes({"at": "the same check at that time is recorded already"})


def field_check_page(
    source: Source, pump: Pump, units: UnitSystem | None = None, form: FormView | None = None
) -> FieldCheckPage:
    """Return the page of a pump's field checks, with the form as it was typed."""
    return FieldCheckPage(
        frame=page_frame(source, units),
        pump=pump.name,
        checks=tuple(reversed(field_check_views(source, pump))),
        form=form or FormView(),
        known=known_of_taps(pump),
    )


def plain_field_check(pump: Pump, view: FieldCheckView) -> dict[str, Any]:
    """Return a check as programs read it: SI units in the names, codes as words."""
    plain = asdict(view) | {"pump": pump.name, "at_utc": iso_utc(view.at_utc_ms)}
    del plain["at_utc_ms"]
    return plain
