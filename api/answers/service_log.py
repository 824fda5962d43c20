"""What people did to a pump: recorded as they say it, and never guessed from readings."""

from __future__ import annotations

from typing import Any, Final
from zoneinfo import ZoneInfo

from api.analytics.facts import ServiceEvent
from api.answers.findings import iso_utc
from api.answers.mistakes import FieldMistakes, Gathered
from api.answers.pages import page_frame
from api.answers.source import Source
from api.store.service_events import ServiceRecord
from collector.site import Pump
from collector.toml_file import did_you_mean
from collector.trend_log.times import TimeReader
from dashboards.display import listed
from dashboards.form_views import FormView
from dashboards.service_views import ServiceEntry, ServicePage
from dashboards.views import UnitSystem
from dashboards.wording.terms import ROLES, SERVICES

CHANGES_THE_PUMP: Final = (
    "impeller_changed",
    "ring_replaced",
    "seal_replaced",
    "fluid_changed",
    "glycol_added",
    "rebalanced",
)
"""Work after which another curve is right. After any other a new baseline would only hide a fault."""

LONGEST_NOTE: Final = 200
EARLIEST_UTC_MS: Final = 946_684_800_000
"""2000-01-01T00:00Z: work before that is a year mistyped (our own choice)."""


def record_work(
    source: Source, pump: Pump, *, what: str, at: str, new_baseline: bool, role: str, note: str
) -> ServiceRecord:
    """Record a piece of work in a person's words.

    Raises
    ------
    FieldMistakes
        With a line for each word that cannot be right; nothing was recorded.
    """
    record = service_record(source, what, at, new_baseline=new_baseline, role=role, note=note)
    _must_be_new(source, pump, record.event)
    source.api_store.add_event(pump.name, record.event, record.by_role, record.note)
    return record


def service_record(
    source: Source, what: str, at: str, *, new_baseline: bool, role: str, note: str
) -> ServiceRecord:
    """Return the record of a piece of work from a person's words; ``at`` without an offset is local time.

    Raises
    ------
    FieldMistakes
        With a line for each word that cannot be right.
    """
    gathered = Gathered()
    gathered.take("what", lambda: must_be_work(what), None)
    at_utc_ms = gathered.take("at", lambda: _instant(source, at), 0)
    if new_baseline and what not in CHANGES_THE_PUMP:
        gathered.refuse("new_baseline", _hides(what))
    if role not in ROLES:
        gathered.refuse("role", f"{role!r} is no role{did_you_mean(role, list(ROLES))}")
    if len(note) > LONGEST_NOTE or not note.isprintable():
        gathered.refuse("note", f"should be one line of at most {LONGEST_NOTE} letters")
    gathered.must_be_right()
    event = ServiceEvent(time_utc_ms=at_utc_ms, kind=what, new_baseline=new_baseline)
    return ServiceRecord(event=event, by_role=role, note=note)


def _hides(what: str) -> str:
    return (
        f"{SERVICES.get(what, what)!r} does not change what the pump can do, and a new curve would hide a "
        f"fault; it goes with {listed((SERVICES[kind] for kind in CHANGES_THE_PUMP), 'or')}"
    )


def must_be_work(what: str) -> None:
    """Refuse work that the log has no word for.

    Raises
    ------
    FieldMistakes
        With one line that names the nearest, or all.
    """
    if not what:
        raise FieldMistakes({"what": "is missing; expected a kind of work, such as vented"})
    if what not in SERVICES:
        raise FieldMistakes({"what": f"{what!r} is no work known here{did_you_mean(what, list(SERVICES))}"})


def _instant(source: Source, at: str) -> int:
    if not at:
        raise ValueError("is missing; expected when it was done, such as 2026-10-12T14:00")
    reader = TimeReader(zone=ZoneInfo(source.site.time_zone))
    found = reader.read([at])[0]
    if isinstance(found, str):
        raise ValueError(f"{found}; expected such as 2026-10-12T14:00 (local) or 2026-10-12T14:00Z")
    if found < EARLIEST_UTC_MS:
        raise ValueError(f"{at} is before the year 2000; is the year right?")
    if found > source.clock.now_utc_ms():
        raise ValueError(f"{at} is still to come; record work once it is done")
    return found


def _must_be_new(source: Source, pump: Pump, event: ServiceEvent) -> None:
    """Refuse an event that stands in the log already: the same line sent twice is one piece of work.

    With a new baseline that was forgotten at first it says more, and is taken beside the first.
    """
    events = source.api_store.events(pump.name)
    same = [e for e in events if (e.kind, e.time_utc_ms) == (event.kind, event.time_utc_ms)]
    if same and (not event.new_baseline or any(e.new_baseline for e in same)):
        raise FieldMistakes({"at": f"{SERVICES[event.kind]} at that time is recorded already"})


def service_page(
    source: Source, pump: Pump, units: UnitSystem | None = None, form: FormView | None = None
) -> ServicePage:
    """Return the page of a pump's service log, with the form as it was typed."""
    log = source.api_store.service_log(pump.name)
    return ServicePage(
        frame=page_frame(source, units),
        pump=pump.name,
        entries=tuple(_entry(record) for record in reversed(log)),
        form=form or FormView(),
    )


def _entry(record: ServiceRecord) -> ServiceEntry:
    return ServiceEntry(
        time_utc_ms=record.event.time_utc_ms,
        kind=record.event.kind,
        new_baseline=record.event.new_baseline,
        by_role=record.by_role,
        note=record.note,
    )


def plain_log(source: Source, pump: Pump) -> list[dict[str, Any]]:
    """Return a pump's service log as programs read it, oldest first."""
    return [plain_record(pump, record) for record in source.api_store.service_log(pump.name)]


def plain_record(pump: Pump, record: ServiceRecord) -> dict[str, Any]:
    """Return an entry of the log as programs read it."""
    return {
        "pump": pump.name,
        "at_utc": iso_utc(record.event.time_utc_ms),
        "what": record.event.kind,
        "new_baseline": record.event.new_baseline,
        "by_role": record.by_role,
        "note": record.note,
    }
