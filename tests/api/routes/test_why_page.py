"""The page that explains a week, its figure, and the hours behind its numbers."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from fastapi.testclient import TestClient

from api.analysis.site_pass import analyse_site
from api.answers.source import Source, open_source
from api.answers.weeks import pump_weeks
from api.routes.app import create_app
from dashboards import addresses

PUMP = "Lap <b>pool</b> 2"


@pytest.fixture
def client(analysed: Source) -> Iterator[TestClient]:
    with TestClient(create_app(analysed), base_url="http://127.0.0.1") as client:
        yield client


@pytest.fixture
def start(analysed: Source) -> int:
    return pump_weeks(analysed, analysed.site.pump(PUMP))[4].start_utc_ms


def test_the_week_leads_to_its_why(client: TestClient, start: int) -> None:
    html = client.get(addresses.week_address(start)).text
    assert f'href="{addresses.why_address(start, "Hot tub").replace("&", "&amp;")}"' in html
    assert f'href="{addresses.why_address(start)}"' in html


def test_a_pumps_page_tells_why_and_what_it_is_worth_in_money(client: TestClient, start: int) -> None:
    html = client.get(addresses.why_address(start, PUMP)).text
    assert "Against the week before" in html
    assert "There are no readings of the same week last year." in html
    assert "In a year of such weeks" in html
    assert re.search(r"[0-9.]+\u00a0EUR \([0-9.]+ to [0-9.]+\)", html)
    assert "Proportional pressure" in html


def test_names_with_markup_stay_text(client: TestClient, start: int) -> None:
    html = client.get(addresses.why_address(start, PUMP)).text
    assert "Lap &lt;b&gt;pool&lt;/b&gt; 2" in html
    assert "<b>pool</b>" not in html


def test_every_formula_that_a_number_leads_to_is_there(client: TestClient, start: int) -> None:
    anchors = set()
    for pump in (PUMP, None):
        html = client.get(addresses.why_address(start, pump)).text
        anchors |= set(re.findall(rf'href="{addresses.EXPLAINED}#([a-z-]+)"', html))
    words = client.get(addresses.EXPLAINED).text
    assert len(anchors) >= 12
    assert [anchor for anchor in sorted(anchors) if f'id="{anchor}"' not in words] == []


def test_the_hours_behind_a_week_add_up_to_its_numbers(
    client: TestClient, analysed: Source, start: int
) -> None:
    week = pump_weeks(analysed, analysed.site.pump(PUMP))[4]
    answer = client.get(addresses.hours_address(PUMP, start, week.end_utc_ms))
    assert answer.headers["content-type"].startswith("text/csv")
    rows = list(csv.DictReader(io.StringIO(answer.text)))
    assert len(rows) == 168

    def total(column: str) -> float:
        return sum(float(row[column]) for row in rows)

    assert total("energy_kwh") == pytest.approx(week.energy_kwh)
    assert total("volume_m3") == pytest.approx(week.volume_m3)
    ratio = total("energy_with_flow_kwh") / total("volume_with_power_m3")
    assert ratio == pytest.approx(week.kwh_per_m3)
    head = total("volume_times_head_m3_m") / total("volume_with_power_and_head_m3")
    assert head == pytest.approx(week.mean_head_m)
    assert total("seconds_running_s") / 3600 == pytest.approx(week.running_h)


def test_what_was_not_read_is_an_empty_cell(client: TestClient, start: int) -> None:
    text = client.get(addresses.hours_address(PUMP, start, start + 7_200_000)).text
    row = next(csv.DictReader(io.StringIO(text)))
    assert (row["counter_first_kwh"], row["density_kg_m3"]) == ("", "")


def test_the_figure_leads_from_then_to_now(client: TestClient, start: int) -> None:
    drawn = client.get(addresses.why_figure_address(start, "before", PUMP, "SI")).json()
    (steps,) = drawn["data"]
    assert steps["measure"][0] == "absolute"
    assert steps["measure"][-1] == "total"
    assert sum(steps["x"][:-1]) == pytest.approx(steps["x"][-1], rel=1e-3)
    assert drawn["caption"].endswith(".")
    assert len(drawn["table"]["rows"]) == len(steps["x"])


def test_a_comparison_that_is_none_is_said_in_its_figure(client: TestClient, start: int) -> None:
    drawn = client.get(addresses.why_figure_address(start, "last_year", PUMP, "SI")).json()
    assert drawn["data"] == []
    assert drawn["caption"] == "There are no readings of the same week last year."


@pytest.mark.parametrize(
    ("address", "status"),
    [
        ("/why?week=1", 404),
        ("/why?pump=nobody", 404),
        ("/why?week=monday", 422),
        ("/figure/why?week=1&against=before", 404),
        ("/figure/why?week=1&against=yesterday", 422),
        ("/api/hours?pump=Hot+tub&start=2026-06-01T00:00:00Z&end=2028-06-01T00:00:00Z", 422),
        ("/api/hours?pump=nobody&start=2026-06-01T00:00:00Z&end=2026-06-02T00:00:00Z", 404),
    ],
)
def test_what_there_is_not_is_refused(client: TestClient, address: str, status: int) -> None:
    assert client.get(address).status_code == status


def test_without_a_price_all_is_in_kilowatt_hours(analysed: Source, start: int) -> None:
    site = analysed.site.path
    lines = site.read_text(encoding="utf-8").splitlines()
    kept = [line for line in lines if not line.startswith(("price_per_kwh", "currency"))]
    site.write_text("\n".join(kept), encoding="utf-8")
    source = open_source(site, analysed.clock)
    with TestClient(create_app(source), base_url="http://127.0.0.1") as client:
        html = client.get(addresses.why_address(start, PUMP)).text
    source.close()
    assert "states no price of energy" in html
    assert re.search(r"[0-9.]+\u00a0kWh \([0-9.]+ to [0-9.]+\)", html)


def test_a_week_with_readings_for_40_percent_says_so_and_extrapolates_nothing(
    new_site: Callable[[str], Source],
    small_site: Any,  # noqa: ANN401
) -> None:
    source = new_site("part")
    rows = small_site.readings("Lap pool 1", 0, 14 * 288, seed=1)
    source.store.append([*rows[: 7 * 288], *rows[14 * 288 - round(0.4 * 7 * 288) :]])
    analyse_site(source.site, source.store, source.api_store, source.clock)
    whole, part = pump_weeks(source, source.site.pumps[0])[:2]
    with TestClient(create_app(source), base_url="http://127.0.0.1") as client:
        why = client.get(addresses.why_address(part.start_utc_ms, "Lap pool 1")).text
        table = client.get(addresses.week_address(part.start_utc_ms)).text
    assert part.energy_kwh == pytest.approx(0.4 * (whole.energy_kwh or 0.0), rel=0.03)
    assert "Only 40\u00a0% of this week has readings." in why
    assert "readings for 40\u00a0% of its time; nothing is filled in" in why
    assert "part only" in table
    assert "a part of this week" in table
