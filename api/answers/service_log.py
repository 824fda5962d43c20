"""What people did to a pump: recorded as they say it, and never guessed from readings."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Final
from zoneinfo import ZoneInfo

from api.analytics.facts import ServiceEvent
from api.analytics.finding import Kind
from api.answers.findings import card, iso_utc
from api.answers.mistakes import FieldMistakes, Gathered
from api.answers.pages import page_frame
from api.answers.repairs import effects, plain_effect
from api.answers.source import Source
from api.store.service_events import WITHDRAWN, ServiceRecord, that_stand
from api.store.stored_finding import State
from collector.site import Pump
from collector.store import HOUR_MS
from collector.toml_file import did_you_mean
from collector.trend_log.times import TimeReader
from dashboards.display import listed
from dashboards.form_views import FormView
from dashboards.service_views import EffectView, ServiceEntry, ServicePage, TakenBack
from dashboards.views import UnitSystem
from dashboards.wording.sentences import since_words, title
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
REASONS_MS: Final = 28 * 24 * HOUR_MS
"""A finding gone for longer is hardly why somebody works on a pump today (our own choice)."""
EARLIEST_UTC_MS: Final = 946_684_800_000
"""2000-01-01T00:00Z: work before that is a year mistyped (our own choice)."""


def record_work(
    source: Source,
    pump: Pump,
    *,
    what: str,
    at: str,
    new_baseline: bool = False,
    role: str,
    note: str = "",
    finding: str = "",
) -> ServiceRecord:
    """Record a piece of work in a person's words; ``finding`` is the number of the finding that it answers.

    Raises
    ------
    FieldMistakes
        With a line for each word that cannot be right; nothing was recorded.
    """
    gathered = Gathered()
    gathered.take("what", lambda: must_be_work(what), None)
    at_utc_ms = gathered.take("at", lambda: _instant(source, at), 0)
    if new_baseline and what not in CHANGES_THE_PUMP:
        gathered.refuse("new_baseline", _hides(what))
    gathered.take("finding", lambda: _must_be_a_finding(source, pump, finding), None)
    _must_be_said(gathered, role, note)
    gathered.must_be_right()
    event = ServiceEvent(time_utc_ms=at_utc_ms, kind=what, new_baseline=new_baseline)
    _must_be_new(source, pump, event)
    named = int(finding) if finding else None
    return _written(source, pump, ServiceRecord(event=event, by_role=role, note=note, finding_id=named))


def take_back(source: Source, pump: Pump, *, number: str, role: str, note: str) -> ServiceRecord:
    """Take a mistaken entry back by another one: both stay in the history, neither holds any longer.

    Raises
    ------
    FieldMistakes
        With a line for each word that cannot be right; nothing was recorded.
    """
    gathered = Gathered()
    mistaken = gathered.take("number", lambda: _entry_that_stands(source, pump, number), None)
    if not note:
        gathered.refuse("why", "is missing; expected one line, such as: it was another pump")
    _must_be_said(gathered, role, note, role_field="back_role", note_field="why")
    gathered.must_be_right()
    assert mistaken is not None  # Else it was refused.
    event = ServiceEvent(time_utc_ms=source.clock.now_utc_ms(), kind=WITHDRAWN)
    return _written(
        source,
        pump,
        ServiceRecord(event=event, by_role=role, note=note, withdraws=mistaken.event_id),
    )


def _written(source: Source, pump: Pump, record: ServiceRecord) -> ServiceRecord:
    return replace(record, event_id=source.api_store.add_record(pump.name, record))


def _must_be_said(
    gathered: Gathered, role: str, note: str, role_field: str = "role", note_field: str = "note"
) -> None:
    if role not in ROLES:
        gathered.refuse(role_field, f"{role!r} is no role{did_you_mean(role, list(ROLES))}")
    if len(note) > LONGEST_NOTE or not note.isprintable():
        gathered.refuse(note_field, f"should be one line of at most {LONGEST_NOTE} letters")


def _must_be_a_finding(source: Source, pump: Pump, finding: str) -> None:
    found = source.api_store.finding(int(finding)) if finding.isdecimal() and len(finding) < 16 else None
    if finding and (found is None or found.finding.pump != pump.name):
        raise ValueError(f"{finding!r} is no finding of this pump; owncurve findings lists their numbers")


def _entry_that_stands(source: Source, pump: Pump, number: str) -> ServiceRecord:
    log = source.api_store.service_log(pump.name)
    found = next((record for record in log if str(record.event_id) == number.strip()), None)
    if found is None:
        numbers = ", ".join(str(record.event_id) for record in log) or "none"
        raise ValueError(f"{number!r} is no entry of this pump that holds; there are: {numbers}")
    return found


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
    source: Source,
    pump: Pump,
    units: UnitSystem | None = None,
    form: FormView | None = None,
    back: FormView | None = None,
) -> ServicePage:
    """Return the page of a pump's service log, with the form as it was typed."""
    return ServicePage(
        frame=page_frame(source, units),
        pump=pump.name,
        entries=entries(source, pump)[::-1],
        reasons=_reasons(source, pump),
        form=form or FormView(),
        back=back or FormView(),
    )


def entries(source: Source, pump: Pump) -> tuple[ServiceEntry, ...]:
    """Return a pump's service log, oldest first, with what each piece of work did."""
    history = source.api_store.service_history(pump.name)
    back = {record.withdraws: record for record in history if record.withdraws is not None}
    measured = effects(source, pump, that_stand(history))
    return tuple(
        _entry(record, back.get(record.event_id), measured.get(record.event_id))
        for record in history
        if record.withdraws is None
    )


def _entry(record: ServiceRecord, back: ServiceRecord | None, effect: EffectView | None) -> ServiceEntry:
    return ServiceEntry(
        number=record.event_id,
        time_utc_ms=record.event.time_utc_ms,
        kind=record.event.kind,
        new_baseline=record.event.new_baseline,
        by_role=record.by_role,
        note=record.note,
        finding_id=record.finding_id,
        taken_back=_taken_back(back),
        effect=effect,
    )


def _taken_back(back: ServiceRecord | None) -> TakenBack | None:
    if back is None:
        return None
    return TakenBack(time_utc_ms=back.event.time_utc_ms, by_role=back.by_role, note=back.note)


def _reasons(source: Source, pump: Pump) -> dict[str, str]:
    """Return what a person may name as the reason: what stands or stood lately, newest first."""
    since = source.clock.now_utc_ms() - REASONS_MS
    site = source.site
    return {
        str(item.finding_id): f"{title(shown)}, {since_words(shown, site.time_zone, since + REASONS_MS)}"
        for item in source.api_store.findings(pump.name)
        if item.state is not State.WITHDRAWN
        and item.finding.kind is not Kind.NOT_ASSESSABLE
        and item.finding.last_utc_ms >= since
        for shown in (card(item, None),)
    }


def plain_log(source: Source, pump: Pump) -> list[dict[str, Any]]:
    """Return a pump's service log as programs read it, oldest first, with what each piece of work did."""
    return [plain_entry(source, pump, entry) for entry in entries(source, pump)]


def plain_entry(source: Source, pump: Pump, entry: ServiceEntry) -> dict[str, Any]:
    """Return an entry of the log as programs read it."""
    back = entry.taken_back
    return {
        "number": entry.number,
        "pump": pump.name,
        "at_utc": iso_utc(entry.time_utc_ms),
        "what": entry.kind,
        "new_baseline": entry.new_baseline,
        "by_role": entry.by_role,
        "note": entry.note,
        "finding_id": entry.finding_id,
        "taken_back_utc": iso_utc(back.time_utc_ms) if back else None,
        "effect": plain_effect(entry.effect, source.site.units) if entry.effect else None,
    }


def entry_of(source: Source, pump: Pump, number: int) -> ServiceEntry:
    """Return the entry of this number, which is there."""
    return next(entry for entry in entries(source, pump) if entry.number == number)
