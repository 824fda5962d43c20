"""The lines as JSON, as a page and as a figure, from a real store."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from api.routes import create_app
from tests.api.answers.invented_lines import HOSTILE, PUMPS, fill, lines_source

HERE = "http://127.0.0.1:8620"


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient]:
    source = lines_source(tmp_path)
    fill(source)
    with TestClient(create_app(source), base_url=HERE) as client:
        yield client
    source.close()


def test_the_json_names_state_counts_and_what_became_worse(client: TestClient) -> None:
    lines = {line["name"]: line for line in client.get("/api/lines").json()["lines"]}
    assert {name: line["state"] for name, line in lines.items()} == {
        "plant_room": "answers",
        "filter_hall": "answers",
        "roof": "dead",
        "yard": "answers",
    }
    damaged = lines["plant_room"]["worse"][0]
    assert (damaged["kind"], damaged["since_utc"]) == ("damaged", "2026-07-11T12:00:00Z")
    assert lines["roof"]["last_reading_utc"] == "2026-07-11T14:00:00Z"
    assert lines["yard"]["is_listened"] is True


def test_requests_are_the_sum_of_what_became_of_them(client: TestClient) -> None:
    units = [unit for line in client.get("/api/lines").json()["lines"] for unit in line["units"]]
    kinds = ("answers", "refused", "no_reply", "damaged", "echo")
    assert all(unit["requests"] == sum(unit[kind] for kind in kinds) > 0 for unit in units)


@pytest.mark.parametrize("address", ["/api/lines", "/lines", "/figure/line?bus=roof"])
def test_a_range_that_is_not_offered_is_refused(client: TestClient, address: str) -> None:
    joint = "&" if "?" in address else "?"
    assert client.get(f"{address}{joint}range=week").status_code == 200
    assert client.get(f"{address}{joint}range=all").status_code == 422


def test_a_line_that_the_site_file_does_not_name_is_not_found(client: TestClient) -> None:
    assert client.get("/figure/line?bus=cellar").status_code == 404
    assert client.get("/figure/line").status_code == 422


def test_the_page_says_first_which_line_is_dead_and_what_to_do(client: TestClient) -> None:
    page = client.get("/lines").text
    assert "<h1>One line dead: roof</h1>" in page
    assert page.index("Nobody answers on this line") < page.index(">plant_room<")
    assert "The last good reading of any of its pumps is of 15:00 today" in page


def test_the_page_says_since_when_damage_comes(client: TestClient) -> None:
    page = client.get("/lines").text
    assert "More answers are damaged since about 13:00 today" in page
    assert "Unit 12 (Heating main) answers later since about 13:00 today" in page


def test_names_with_markup_stay_text(client: TestClient) -> None:
    page = client.get("/lines").text
    assert HOSTILE not in page
    assert "Lap &lt;b&gt;pool&lt;/b&gt; &amp; 7" in page
    figure = client.get("/figure/line?bus=plant_room").json()
    assert [trace["name"] for trace in figure["data"] if "pool" in trace["name"]] == [
        "11 Warm pool",
        "13 Lap &lt;b&gt;pool&lt;/b&gt; &amp; 7",
    ]


def test_a_figure_has_its_data_as_a_table_too(client: TestClient) -> None:
    table = client.get("/figure/line?bus=plant_room").json()["table"]
    assert table["columns"][:4] == ["From", "Busy", "No reply", "Damaged"]
    assert all(len(row) == len(table["columns"]) for row in table["rows"])


def test_a_silent_pump_on_the_first_page_leads_to_its_line(client: TestClient) -> None:
    page = client.get("/").text
    assert page.count('<a href="/lines">how its line is') == len(PUMPS["roof"])


def test_every_page_leads_to_the_lines(client: TestClient) -> None:
    assert all(
        '<a href="/lines">Lines</a>' in client.get(path).text for path in ("/", "/lines", "/explained")
    )


def test_a_site_without_a_line_says_so(tmp_path: Path) -> None:
    folder = tmp_path / "imported"
    folder.mkdir()
    source = lines_source(folder)
    empty = source.site.model_copy(update={"buses": (), "pumps": ()})
    with TestClient(create_app(type(source)(empty, source.store, source.api_store, source.clock))) as client:
        page = client.get("/lines", headers={"host": "127.0.0.1:8620"}).text
    source.close()
    assert "names no bus" in page
