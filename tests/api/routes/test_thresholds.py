"""The page of thresholds: worked out beside the pages, shown when ready, no promise without noise."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest
from fastapi.testclient import TestClient

from api.analysis.provenance_look import says_contradicted
from api.analysis.pump_pass import curve_of
from api.analysis.site_pass import analyse_site
from api.analytics.backtest import back_test
from api.analytics.facts import ServiceEvent
from api.answers.back_test_desk import BackTestDesk
from api.answers.source import Source
from api.routes import create_app
from api.store.findings import write_updates
from api.store.stored_finding import Change, FindingUpdate, State
from dashboards import addresses

# As in the small site's makers.
DAYS, DAY_ROWS = 40, 288
SmallSite = Any
HERE = "http://127.0.0.1:8620"
HEALTHY, WORN, ESTIMATED = "Lap pool 1", "Lap <b>pool</b> 2", "Hot tub"
LONGEST_S = 60


@pytest.fixture
def client(analysed: Source) -> Iterator[TestClient]:
    app = create_app(analysed)
    with TestClient(app, base_url=HERE) as client:
        yield client
    app.state.desk.close()


def wait_until_ready(client: TestClient, pump: str = HEALTHY, loss: int = 3) -> None:
    end = time.monotonic() + LONGEST_S
    while not progress(client, pump, loss)["ready"]:
        assert time.monotonic() < end, "the back-tests never came to an end"
        time.sleep(0.05)


def progress(client: TestClient, pump: str, loss: int) -> dict[str, Any]:
    answer: dict[str, Any] = client.get(addresses.thresholds_progress_address(pump, loss)).json()
    return answer


def page(client: TestClient, pump: str, loss: int | None = None) -> str:
    return client.get(addresses.thresholds_address(pump, loss)).text


def figure(client: TestClient, pump: str) -> dict[str, Any]:
    answer: dict[str, Any] = client.get(addresses.thresholds_figure_address(pump, 3)).json()
    return answer


def test_the_first_look_shows_how_far_it_is_and_waits_for_nothing(client: TestClient) -> None:
    text = page(client, HEALTHY)
    assert "Being worked out from this pump's stored hours" in text
    assert "waiting.js" in text


def test_other_pages_answer_meanwhile(client: TestClient) -> None:
    page(client, HEALTHY)
    assert client.get(addresses.SITE).status_code == 200
    assert not progress(client, HEALTHY, 3)["ready"]


def test_a_history_too_short_for_a_trial_says_so_and_draws_no_empty_table(client: TestClient) -> None:
    page(client, HEALTHY)
    wait_until_ready(client)
    text = page(client, HEALTHY)
    assert "too short to try a loss in: " in text
    assert "0 of 0" not in text
    assert "data-figure" not in text
    assert "head_loss_notice_pct = 0.8" in text
    assert "waiting.js" not in text


def test_the_table_says_what_the_back_test_of_this_pump_found(
    client: TestClient, analysed: Source, small_site: SmallSite
) -> None:
    # Two weeks more than the first four, and some days, so that a loss can be tried.
    small_site.fill(analysed.store, DAYS * DAY_ROWS, 10 * DAY_ROWS)
    analyse_site(analysed.site, analysed.store, analysed.api_store, analysed.clock)
    facts = analysed.facts(analysed.site.pump(HEALTHY))
    curve = curve_of(analysed.api_store, facts)
    test = back_test(analysed.api_store.hours(HEALTHY), curve, facts, 0.03)
    assert test is not None
    page(client, HEALTHY)
    wait_until_ready(client)
    rows = figure(client, HEALTHY)["table"]["rows"]
    delays = sorted(next(each for each in test.at if each.limits == test.present).delays_days)
    median = next(row[3] for row in rows if row[2] == "as set")
    assert median == f"{delays[(len(delays) - 1) // 2]:.0f}"
    text = page(client, HEALTHY)
    assert "as set" in text
    assert "False alarms are those of 1 pump of the site" in text


def test_opening_one_pumps_page_works_out_that_pump_alone(analysed: Source) -> None:
    desk = BackTestDesk()
    try:
        end = time.monotonic() + LONGEST_S
        while HEALTHY not in desk.ask(analysed, 0.03, HEALTHY):
            assert time.monotonic() < end
            time.sleep(0.05)
        assert set(desk.ask(analysed, 0.03, HEALTHY)) == {HEALTHY}
    finally:
        desk.close()


def test_where_wear_cannot_be_seen_it_says_so_and_draws_nothing(client: TestClient) -> None:
    page(client, ESTIMATED)
    wait_until_ready(client)
    assert "wear cannot show in them" in page(client, ESTIMATED)
    assert figure(client, ESTIMATED)["data"] == []


def test_a_pump_without_a_curve_says_that_it_takes_some_weeks(client: TestClient, analysed: Source) -> None:
    repaired = ServiceEvent(
        time_utc_ms=analysed.clock.now_utc_ms() - 3_600_000, kind="impeller_changed", new_baseline=True
    )
    analysed.api_store.add_event(HEALTHY, repaired, "technician")
    page(client, HEALTHY)
    wait_until_ready(client)
    assert "no curve of its own yet" in page(client, HEALTHY)


def test_names_with_markup_stay_text(client: TestClient) -> None:
    assert "<b>pool</b>" not in page(client, WORN)
    wait_until_ready(client, WORN)
    assert "<b>pool</b>" not in page(client, WORN)


@pytest.mark.parametrize("loss", ["4", "0", "-3", "nan", "1e9", "three"])
def test_a_loss_that_is_not_offered_is_refused_before_any_work(client: TestClient, loss: str) -> None:
    for address in (addresses.THRESHOLDS, addresses.THRESHOLDS_PROGRESS, "/figure/thresholds"):
        assert client.get(address, params={"pump": HEALTHY, "loss": loss}).status_code == 422


def test_a_pump_that_is_not_there_is_404(client: TestClient) -> None:
    assert client.get(addresses.thresholds_address("P99")).status_code == 404


def test_an_answer_is_kept_until_something_changes(analysed: Source) -> None:
    desk = BackTestDesk()
    try:
        end = time.monotonic() + LONGEST_S
        while HEALTHY not in desk.ask(analysed, 0.03, HEALTHY):
            assert time.monotonic() < end
            time.sleep(0.05)
        first = desk.ask(analysed, 0.03, HEALTHY)
        assert desk.ask(analysed, 0.03, HEALTHY)[HEALTHY] is first[HEALTHY]
        analysed.api_store.add_event(HEALTHY, ServiceEvent(time_utc_ms=1, kind="vented"), "technician")
        assert HEALTHY not in desk.ask(analysed, 0.03, HEALTHY)
    finally:
        desk.close()


@pytest.mark.skipif(os.name == "nt", reason="looks for a process by signal 0")
def test_a_closed_desk_leaves_no_process_behind(analysed: Source) -> None:
    desk = BackTestDesk()
    desk.ask(analysed, 0.03, HEALTHY)
    worker = desk._worker
    assert worker is not None
    number = worker.pid
    assert number is not None
    desk.close()
    with pytest.raises(ProcessLookupError):
        os.kill(number, 0)


def test_the_pump_page_leads_there(client: TestClient) -> None:
    text = client.get(addresses.pump_address(HEALTHY)).text
    assert f'href="{addresses.thresholds_address(HEALTHY)}"' in text


def test_a_pump_whose_readings_are_in_doubt_says_so_and_tries_nothing(
    client: TestClient, analysed: Source
) -> None:
    (doubt,) = [
        item
        for item in analysed.api_store.findings(ESTIMATED, [State.ACTIVE])
        if says_contradicted(item.finding)
    ]
    raised = FindingUpdate(
        stored=None,
        finding=replace(doubt.finding, pump=HEALTHY),
        state=State.ACTIVE,
        changes=(Change.RAISED,),
    )
    with analysed.api_store.write() as connection:
        write_updates(connection, [raised], analysed.clock.now_utc_ms())
    page(client, HEALTHY)
    wait_until_ready(client)
    assert "contradict what the site file says of their origin" in page(client, HEALTHY)
    assert figure(client, HEALTHY)["data"] == []
