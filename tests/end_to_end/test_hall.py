"""The demonstration's hall, from trend logs to findings: every seeded fault named, nothing on the healthy.

The truth set and the detector share an assumption: both come from the same picture of how a pump behaves,
so this says that the parts fit together, not how well they do in the field.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from api.analysis.site_pass import analyse_site
from api.analytics.finding import INFORMATION_KINDS, Kind
from api.demo.hall_site import simulated_name, write_site
from api.demo.history import import_history
from api.store.api_store import ApiStore, open_api_store
from api.store.stored_finding import State, StoredFinding
from collector.clock import Clock
from collector.site import load_site
from collector.store import open_store
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
HEALTHY = [name for name, kinds in EXPECTED.items() if kinds <= INFORMATION_KINDS]


def imported_file(history: PumpHistory) -> dict[str, Any]:
    return {
        "file": history.file,
        "time": history.time_heading,
        "quantities": {column.heading: (column.quantity, column.unit) for column in history.columns},
    }


@pytest.fixture(scope="module", params=RUNS)
def start_utc_ms(request: pytest.FixtureRequest) -> int:
    return int(request.param[1])


@pytest.fixture(scope="module")
def found(start_utc_ms: int, tmp_path_factory: pytest.TempPathFactory) -> Iterator[ApiStore]:
    folder = tmp_path_factory.mktemp("hall")
    pumps = hall_pumps(start_utc_ms)
    seed = next(seed for seed, start in RUNS if start == start_utc_ms)
    histories = write_histories(pumps, folder / "history", start_utc_ms, WEEKS, seed)
    buses = [{"name": bus.name, "kind": "tcp", "host": "127.0.0.1", "port": 502} for bus in BUSES]
    places = {pump.spec.name: {"bus": pump.bus, "unit_id": pump.unit_id, "map": pump.map} for pump in pumps}
    site_file = write_site(folder, "SI", buses, places)
    files = {history.name: imported_file(history) for history in histories}
    import_history(site_file, {"folder": str(folder / "history"), "files": files}, lambda _: None)
    site = load_site(site_file)
    store, api_store = open_store(site.database_url), open_api_store(site.database_url)
    analyse_site(site, store, api_store, Clock())
    yield api_store
    api_store.close()
    store.close()


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
