"""The demonstration's hall, from trend logs to findings: every seeded fault named, nothing on the healthy.

The truth set and the detector share an assumption: both come from the same picture of how a pump behaves,
so this says that the parts fit together, not how well they do in the field.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

import pytest

from api.analysis.site_pass import analyse_site
from api.analytics.finding import INFORMATION_KINDS, Kind
from api.answers.commissioning import baseline_of
from api.answers.documents import document_rows
from api.answers.field_check_results import field_check_views
from api.answers.repairs import effects
from api.answers.source import Source, open_source
from api.answers.upkeep import upkeep
from api.demo.hall_site import simulated_name, write_site
from api.demo.history import import_history
from api.demo.people import ACCEPTED, record_people
from api.store.api_store import ApiStore
from api.store.stored_finding import State, StoredFinding
from collector.clock import Clock
from simulator.hall import BUSES, hall_pumps
from simulator.history import PumpHistory, write_histories

WEEKS = 8
RUNS = [(1, 1_790_000_000_000), (2, 1_795_591_558_000)]
"""Seed, and when the live run would begin [ms UTC]: another time of day, other weather and noise."""
EXPECTED: dict[str, set[Kind]] = {
    "Main pool circulation": set(),
    "Diving pool circulation": {Kind.HEAD_LOSS},
    "Teaching pool circulation": set(),
    "Warm pool circulation": {Kind.CLOSED_DISCHARGE},
    "Heating main": set(),
    "Radiator circuit": {Kind.NOT_ASSESSABLE},
    "Hot water charging": {Kind.AIR_BINDING},
    "Air handling coil": {Kind.NOT_ASSESSABLE},
    "Surge tank transfer": {Kind.REPEATED_STARTS, Kind.DRIVE_FAULT},
    "Floor heating": {Kind.SYSTEM_CHANGE},
    "Dehumidifier glycol": set(),
    "Backwash water lift": set(),
    "Shower circulation": {Kind.NOT_ASSESSABLE},
}
"""What must stand at the end of the history; silences are not in a trend log, only on the live bus."""
DATE_MARGIN_MS = 4 * 24 * 3_600_000
"""The beginning of a slow change is an estimate: days, not hours."""
PAST = {"Main pool circulation": Kind.AIR_BINDING}
"""What a repair has done away with; its pump is well again."""
HEALTHY = [name for name, kinds in EXPECTED.items() if kinds <= INFORMATION_KINDS and name not in PAST]


def imported_file(history: PumpHistory) -> dict[str, Any]:
    return {
        "file": history.file,
        "time": history.time_heading,
        "quantities": {column.heading: (column.quantity, column.unit) for column in history.columns},
        "gauges": [asdict(reading) for reading in history.gauges],
    }


@pytest.fixture(scope="module", params=RUNS)
def start_utc_ms(request: pytest.FixtureRequest) -> int:
    return int(request.param[1])


@pytest.fixture(scope="module")
def hall(start_utc_ms: int, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Source]:
    folder = tmp_path_factory.mktemp("hall")
    pumps = hall_pumps(start_utc_ms)
    seed = next(seed for seed, start in RUNS if start == start_utc_ms)
    histories = write_histories(pumps, folder / "history", start_utc_ms, WEEKS, seed)
    buses = [{"name": bus.name, "kind": "tcp", "host": "127.0.0.1", "port": 502} for bus in BUSES]
    places = {pump.spec.name: {"bus": pump.bus, "unit_id": pump.unit_id, "map": pump.map} for pump in pumps}
    site_file = write_site(folder, "SI", buses, places)
    files = {history.name: imported_file(history) for history in histories}
    history = {"folder": str(folder / "history"), "files": files}
    import_history(site_file, history, lambda _: None)
    clock = Clock(simulated_start_ms=start_utc_ms, real_start_ms=time.time_ns() // 1_000_000)
    source = open_source(site_file, clock)
    analyse_site(source.site, source.store, source.api_store, Clock())
    record_people(site_file, clock, history)
    yield source
    source.close()


@pytest.fixture(scope="module")
def found(hall: Source) -> ApiStore:
    return hall.api_store


def all_of(api_store: ApiStore, pump: str) -> list[StoredFinding]:
    return [item for item in api_store.findings(pump=pump) if item.state is not State.WITHDRAWN]


@pytest.mark.parametrize("pump", EXPECTED)
def test_what_stands_at_the_end_is_what_was_seeded(found: ApiStore, pump: str) -> None:
    active = {item.finding.kind for item in all_of(found, pump) if item.state is State.ACTIVE}
    assert active == EXPECTED[pump]


@pytest.mark.parametrize("pump", HEALTHY)
def test_a_healthy_pump_carries_no_alarm_in_eight_weeks(found: ApiStore, pump: str) -> None:
    alarms = [item.finding for item in all_of(found, pump) if item.finding.kind not in INFORMATION_KINDS]
    assert alarms == []


@pytest.mark.parametrize("pump", ["Diving pool circulation", "Hot water charging", "Surge tank transfer"])
def test_a_faulty_pump_carries_no_alarm_before_its_fault(
    found: ApiStore, start_utc_ms: int, pump: str
) -> None:
    spec = next(item.spec for item in hall_pumps(start_utc_ms) if item.spec.name == simulated_name(pump))
    first_fault = min(fault.start_utc_ms for fault in spec.faults)
    early = [
        item.finding
        for item in all_of(found, pump)
        if item.finding.kind not in INFORMATION_KINDS
        and item.finding.first_utc_ms < first_fault - DATE_MARGIN_MS
    ]
    assert early == []


@pytest.mark.parametrize(("pump", "kind"), PAST.items())
def test_what_was_repaired_is_told_and_over(found: ApiStore, pump: str, kind: Kind) -> None:
    alarms = [item for item in all_of(found, pump) if item.finding.kind not in INFORMATION_KINDS]
    assert {(item.finding.kind, item.state) for item in alarms} == {(kind, State.RETURNED_TO_NORMAL)}


def verdicts(hall: Source, pump: str, work: str) -> dict[str, str]:
    """Return what a piece of work did to each finding that it answers."""
    records = hall.api_store.service_log(pump)
    number = next(record.event_id for record in records if record.event.kind == work)
    answered = effects(hall, hall.site.pump(pump), records)[number].answered
    return {each.kind: each.verdict for each in answered}


def test_venting_let_the_air_out(hall: Source) -> None:
    assert verdicts(hall, "Main pool circulation", "vented") == {"air_binding": "worked"}


def test_a_clean_strainer_did_not_mend_a_worn_ring(hall: Source) -> None:
    assert verdicts(hall, "Diving pool circulation", "strainer_cleaned") == {"head_loss": "did_not_work"}


def test_gauges_tell_what_the_estimating_drive_cannot(hall: Source) -> None:
    first, second = field_check_views(hall, hall.site.pump("Air handling coil"))
    assert {loss.by: loss.verdict for loss in first.losses} == {"data_sheet": "as_expected"}
    assert {loss.by: loss.verdict for loss in second.losses}["earlier_check"] == "below"


def test_accepted_curves_are_full_ones(hall: Source) -> None:
    for pump in ACCEPTED:
        baseline = baseline_of(hall, hall.facts(hall.site.pump(pump)))
        assert (baseline.state, baseline.accepted_by) == ("full", "engineer")


def test_some_upkeep_is_due_and_most_is_not(hall: Source) -> None:
    rows = upkeep(hall, hall.site.pumps)
    states = {(row.pump, row.kind): row.state for row in rows}
    assert states["Diving pool circulation", "greasing"] == "due"
    assert states["Main pool circulation", "greasing"] == "soon"
    assert sum(state == "not_yet" for state in states.values()) > len(states) / 2


def test_run_hours_are_those_of_the_plant(hall: Source) -> None:
    # It runs without a stop, and was greased 50 days before the live run begins.
    (row,) = (
        row for row in upkeep(hall, [hall.site.pump("Main pool circulation")]) if row.kind == "greasing"
    )
    assert row.run_h == pytest.approx(50 * 24, abs=2)


def test_the_start_up_sheet_is_kept_as_a_pdf(hall: Source) -> None:
    (row,) = document_rows(hall, hall.site.pump("Diving pool circulation"))
    assert (row.kind, row.media_type) == ("start_up_sheet", "application/pdf")
