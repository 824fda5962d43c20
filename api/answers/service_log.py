"""What people did to a pump: recorded as they say it, and never guessed from readings."""

from __future__ import annotations

from typing import Any, Final
from zoneinfo import ZoneInfo

from api.analytics.facts import ServiceEvent
from api.answers.findings import iso_utc
from api.answers.source import Source
from api.store.api_store import ServiceRecord
from collector.site import Pump
from collector.toml_file import did_you_mean
from collector.trend_log.times import TimeReader
from dashboards.display import listed
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


def service_event(
    source: Source, what: str, at: str, *, new_baseline: bool, role: str, note: str
) -> ServiceRecord:
    """Return the record of a piece of work from a person's words; ``at`` without an offset is local time.

    Raises
    ------
    ValueError
        With one line, when one of the words cannot be right.
    """
    must_be_work(what)
    if new_baseline and what not in CHANGES_THE_PUMP:
        raise ValueError(
            f"--new-baseline: {SERVICES[what]!r} does not change what the pump can do, and a new curve would "
            f"hide a fault; it goes with {listed(CHANGES_THE_PUMP, 'or')}"
        )
    if role not in ROLES:
        raise ValueError(f"--role {role}: no such role{did_you_mean(role, list(ROLES))}")
    if len(note) > LONGEST_NOTE or not note.isprintable():
        raise ValueError(f"--note should be one line of at most {LONGEST_NOTE} letters")
    event = ServiceEvent(time_utc_ms=_instant(source, at), kind=what, new_baseline=new_baseline)
    return ServiceRecord(event=event, by_role=role, note=note)


def must_be_work(what: str) -> None:
    """Refuse work that the log has no word for.

    Raises
    ------
    ValueError
        With one line that names the nearest, or all.
    """
    if what not in SERVICES:
        raise ValueError(f"--what {what}: no such work{did_you_mean(what, list(SERVICES))}")


def _instant(source: Source, at: str) -> int:
    reader = TimeReader(zone=ZoneInfo(source.site.time_zone))
    found = reader.read([at])[0]
    if isinstance(found, str):
        raise ValueError(f"--at: {found}; expected such as 2026-10-12T14:00 (local) or 2026-10-12T14:00Z")
    if found < EARLIEST_UTC_MS:
        raise ValueError(f"--at {at} is before the year 2000; is the year right?")
    if found > source.clock.now_utc_ms():
        raise ValueError(f"--at {at} is still to come; record work once it is done")
    return found


def must_be_new(source: Source, pump: Pump, event: ServiceEvent) -> None:
    """Refuse an event that stands in the log already: the same line sent twice is one piece of work.

    With a new baseline that was forgotten at first it says more, and is taken beside the first.

    Raises
    ------
    ValueError
        With one line.
    """
    same = [e for e in _events(source, pump) if (e.kind, e.time_utc_ms) == (event.kind, event.time_utc_ms)]
    if same and (not event.new_baseline or any(e.new_baseline for e in same)):
        raise ValueError(f"{pump.name}: {SERVICES[event.kind]} at that time is recorded already")


def _events(source: Source, pump: Pump) -> tuple[ServiceEvent, ...]:
    return source.api_store.events(pump.name)


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
