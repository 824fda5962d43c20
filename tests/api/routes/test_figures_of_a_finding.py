"""The pictures on a finding's page show its own time: an hour's burst is no dot in half a year."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime

import pytest
from fastapi.testclient import TestClient

from api.answers.pictures import range_around
from api.answers.source import Source
from api.routes.app import create_app
from api.store.stored_finding import State, StoredFinding
from dashboards.addresses import figure_around_address

WORN, HEALTHY, HOUR_MS = "Lap <b>pool</b> 2", "Lap pool 1", 3_600_000


def loss(source: Source) -> StoredFinding:
    [found] = source.api_store.findings(WORN, [State.ACTIVE])
    return found


@pytest.fixture
def client(analysed: Source) -> Iterator[TestClient]:
    with TestClient(create_app(analysed), base_url="http://127.0.0.1") as opened:
        yield opened


def around(source: Source, hours: float) -> tuple[float, float]:
    """Return how much [h] stands before and after a finding of so many hours on 20 June 2026."""
    first = 1_781_949_600_000
    last = first + round(hours * HOUR_MS)
    told = loss(source)
    finding = replace(told.finding, first_utc_ms=first, last_utc_ms=last)
    over = replace(told, finding=finding, state=State.RETURNED_TO_NORMAL)
    found = range_around(source, source.site.pump(WORN), over)
    return (first - found.start_utc_ms) / HOUR_MS, (found.end_utc_ms - 1 - last) / HOUR_MS


@pytest.mark.parametrize(("hours", "beside"), [(0, 6), (2, 6), (10, 10), (100, 100)])
def test_as_much_time_stands_beside_a_finding_as_it_lasted(
    analysed: Source, hours: float, beside: float
) -> None:
    assert around(analysed, hours) == (beside, beside)


def test_one_that_stands_is_shown_to_the_newest_reading(analysed: Source) -> None:
    ends = analysed.store.span(WORN)
    assert ends is not None
    assert range_around(analysed, analysed.site.pump(WORN), loss(analysed)).end_utc_ms == ends[1] + 1


@pytest.mark.parametrize("figure", ["trend", "against"])
def test_the_page_draws_that_time_and_no_other(client: TestClient, analysed: Source, figure: str) -> None:
    found = loss(analysed)
    address = figure_around_address(figure, WORN, found.finding_id, "SI")
    assert address.replace("&", "&amp;") in client.get(f"/finding?id={found.finding_id}").text
    drawn = client.get(address)
    assert drawn.status_code == 200
    first, last = (datetime.fromisoformat(each) for each in drawn.json()["layout"]["xaxis"]["range"])
    # It has stood for nine days of forty, so that nine more stand before it.
    assert 14 <= (last - first).days <= 22


def test_a_finding_of_another_pump_is_refused(client: TestClient, analysed: Source) -> None:
    answer = client.get(figure_around_address("trend", HEALTHY, loss(analysed).finding_id, "SI"))
    assert answer.status_code == 404
    assert "has no finding" in answer.text
