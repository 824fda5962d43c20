"""The page of field checks, its form, and the same for programs."""

from __future__ import annotations

import html
from collections.abc import Iterator

import pytest
from fastapi.testclient import TestClient

from api.answers.source import Source
from api.routes import create_app
from dashboards import addresses
from dashboards.wording.cautions import CAUTIONS

PUMP = "Hot tub"
HERE = "http://127.0.0.1:8620"
PAGE = addresses.field_check_address(PUMP)
TYPED = {
    "suction": "7.25 psi",
    "discharge": "22.1 psi",
    "suction_height": "0.4 m",
    "discharge_height": "1.1 m",
    "suction_pipe": "80 mm",
    "discharge_pipe": "80 mm",
    "span": "60 psi",
    "flow": "70.4 gpm",
    "speed": "2400 rpm",
    "at": "2026-07-10T10:00",
    "role": "engineer",
    "note": "gauge 3 <b>",
}


@pytest.fixture
def client(analysed: Source) -> Iterator[TestClient]:
    with TestClient(create_app(analysed), base_url=HERE, follow_redirects=False) as client:
        yield client


def test_the_page_asks_and_warns_before_anything_was_recorded(client: TestClient) -> None:
    text = client.get(PAGE).text
    assert "No field check was recorded yet." in text
    assert html.escape(CAUTIONS["shutoff_limit"]).replace("&#x27;", "&#39;") in text
    assert 'name="suction_height"' in text


def test_a_form_is_kept_and_leads_back_to_the_page(client: TestClient, analysed: Source) -> None:
    answer = client.post(PAGE, data=TYPED)
    assert (answer.status_code, answer.headers["location"]) == (303, PAGE)
    (stored,) = analysed.api_store.field_checks(PUMP)
    assert stored.check.typed == TYPED
    text = client.get(PAGE).text
    assert "Total head" in text
    assert "gauge 3 &lt;b&gt;" in text


def test_a_mistake_stands_beside_its_field_and_what_was_typed_stays(
    client: TestClient, analysed: Source
) -> None:
    answer = client.post(PAGE, data=TYPED | {"suction": "7.25 psy", "one_gauge": "yes"})
    assert answer.status_code == 422
    assert "&#39;psy&#39; is no unit of pressure" in answer.text
    assert 'value="7.25 psy"' in answer.text
    assert 'value="yes" checked' in answer.text
    assert analysed.api_store.field_checks(PUMP) == ()


def test_the_page_says_what_to_do_without_a_data_sheet(client: TestClient) -> None:
    client.post(PAGE, data=TYPED)
    assert "type in the data sheet&#39;s points" in client.get(PAGE).text


def test_units_are_switched_at_one_click(client: TestClient) -> None:
    client.post(PAGE, data=TYPED)
    assert "11.2\N{NO-BREAK SPACE}m (" in client.get(f"{PAGE}&units=SI").text
    assert "36.6\N{NO-BREAK SPACE}ft (" in client.get(f"{PAGE}&units=US").text


def test_programs_send_and_read_the_same(client: TestClient) -> None:
    sent = client.post(f"/api{PAGE.replace('field-check', 'field-checks')}", json=TYPED)
    assert sent.status_code == 200
    listed = client.get(f"/api{PAGE.replace('field-check', 'field-checks')}").json()
    assert listed == [sent.json()]
    # By hand: 10.459 m of pressure (see the command's test) and 0.7 m between the gauges.
    assert listed[0]["head_m"] == pytest.approx(11.159, abs=0.002)
    assert listed[0]["at_utc"] == "2026-07-10T09:00:00Z"


@pytest.mark.parametrize("wrong", [{"suction": "7.25"}, {"sucktion": "1 bar"}])
def test_a_programs_mistake_names_the_field(client: TestClient, wrong: dict[str, str]) -> None:
    answer = client.post(f"/api/field-checks?pump={PUMP}", json=TYPED | wrong)
    assert answer.status_code == 422
    assert next(iter(wrong)) in answer.json()["detail"]


@pytest.mark.parametrize("address", ["/field-check?pump=Nope", "/api/field-checks?pump=Nope"])
def test_a_pump_that_is_not_there_is_said(client: TestClient, address: str) -> None:
    assert client.get(address).status_code == 404


def test_another_site_cannot_record(client: TestClient, analysed: Source) -> None:
    answer = client.post(PAGE, data=TYPED, headers={"Origin": "http://elsewhere.example"})
    assert answer.status_code == 403
    assert analysed.api_store.field_checks(PUMP) == ()


def test_the_pumps_page_leads_here(client: TestClient) -> None:
    assert PAGE.replace("&", "&amp;") in client.get(addresses.pump_address(PUMP)).text
