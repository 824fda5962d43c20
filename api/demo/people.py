"""What the hall's people did in the demonstration's eight weeks, as they would have typed it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

from api.analytics.finding import Kind
from api.answers.commissioning import accept_baseline, baseline_of
from api.answers.documents import keep_document
from api.answers.field_checks import record_field_check
from api.answers.service_log import record_work
from api.answers.source import Source, open_source
from api.demo.hall_site import simulated_name
from api.store.stored_finding import State
from collector.clock import Clock
from collector.site import Pump

DAY_MS: Final = 86_400_000
DOCUMENT: Final = "start_up_sheet.pdf"


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """A piece of work so many days before the live run begins; ``against`` is the finding that it answers."""

    pump: str
    what: str
    days_before: float
    note: str = ""
    against: Kind | None = None


WORKS: Final = (
    Work(pump="Diving pool circulation", what="greased", days_before=55.0),
    Work(pump="Main pool circulation", what="greased", days_before=50.0),
    Work(
        pump="Main pool circulation", what="filter_changed", days_before=16.0, note="pipe opened and refilled"
    ),
    Work(
        pump="Main pool circulation",
        what="vented",
        days_before=14.0,
        note="the automatic vent had stuck",
        against=Kind.AIR_BINDING,
    ),
    Work(pump="Main pool circulation", what="seal_inspected", days_before=14.0, note="dry"),
    Work(pump="Main pool circulation", what="strainer_cleaned", days_before=35.0),
    # Its wearing ring leaks: this was a good guess, and it did not help.
    Work(
        pump="Diving pool circulation",
        what="strainer_cleaned",
        days_before=6.0,
        note="hardly anything in it",
        against=Kind.HEAD_LOSS,
    ),
    Work(pump="Diving pool circulation", what="seal_inspected", days_before=6.0, note="dry"),
    Work(pump="Teaching pool circulation", what="seal_inspected", days_before=29.0, note="a drop a minute"),
    Work(pump="Teaching pool circulation", what="strainer_cleaned", days_before=35.0),
    Work(pump="Hot water charging", what="seal_replaced", days_before=4.0, note="drained and refilled"),
    Work(pump="Heating main", what="other_upkeep", days_before=12.0, note="Listen at the bearings: quiet"),
)
ACCEPTED: Final = (
    "Main pool circulation",
    "Teaching pool circulation",
    "Heating main",
    "Backwash water lift",
)
"""Pumps whose learned curve the engineer has looked at and accepted."""


def record_people(site: Path, clock: Clock, history: Mapping[str, Any]) -> None:
    """Record what people did before the live run, which begins when this clock does.

    ``history`` is the simulator's ``history`` event, with what could be read on gauges. Needs the analysis of
    the weeks before: people answered what it found.
    """
    source = open_source(site, clock)
    try:
        _record_works(source, clock.simulated_start_ms)
        for pump in source.site.pumps:
            for reading in history["files"][simulated_name(pump.name)].get("gauges", ()):
                record_field_check(source, pump, _as_typed(reading))
        _accept(source, (source.site.pump(name) for name in ACCEPTED))
        _keep_a_document(source, source.site.pump("Diving pool circulation"))
    finally:
        source.close()


def _record_works(source: Source, start_utc_ms: int) -> None:
    for work in WORKS:
        pump = source.site.pump(work.pump)
        at = _typed_time(start_utc_ms - round(work.days_before * DAY_MS))
        record_work(
            source,
            pump,
            what=work.what,
            at=at,
            role="technician",
            note=work.note,
            finding=_finding(source, pump, work.against),
        )


def _finding(source: Source, pump: Pump, kind: Kind | None) -> str:
    """Return the number of the pump's newest finding of this kind; empty where there is none."""
    found = source.api_store.findings(pump.name)
    numbers = [
        each.finding_id for each in found if each.finding.kind is kind and each.state is not State.WITHDRAWN
    ]
    return str(numbers[0]) if numbers else ""


def _typed_time(time_utc_ms: int) -> str:
    return f"{datetime.fromtimestamp(time_utc_ms // 1000, UTC):%Y-%m-%dT%H:%MZ}"


def _as_typed(reading: Mapping[str, Any]) -> dict[str, str]:
    """Return a check as the technician typed it: one fine gauge put on at both taps, a strap-on meter."""
    return {
        "at": _typed_time(reading["at_utc_ms"]),
        "minutes": "5",
        "suction": f"{reading['suction_bar']:.3f} bar",
        "discharge": f"{reading['discharge_bar']:.3f} bar",
        "suction_height": "0.4 m",
        "discharge_height": "1.2 m",
        "suction_pipe": "65 mm",
        "discharge_pipe": "65 mm",
        "span": "4 bar",
        "grade": "2A",
        "division": "0.01 bar",
        "one_gauge": "yes",
        "flow": f"{reading['flow_m3h']:.1f} m3/h",
        "flow_within": "3 %",
        "role": "technician",
    }


def _accept(source: Source, pumps: Iterable[Pump]) -> None:
    """Accept what is full: after a history of a few days nothing is."""
    for pump in pumps:
        if baseline_of(source, source.facts(pump)).state == "full":
            accept_baseline(source, pump, role="engineer", note="lies on the first weeks' readings")


def _keep_a_document(source: Source, pump: Pump) -> None:
    content = files("api.demo").joinpath(DOCUMENT).read_bytes()
    keep_document(
        source,
        pump,
        content,
        file_name=DOCUMENT,
        title="Start-up sheet of the diving pool's pump",
        kind="start_up_sheet",
        role="technician",
    )
