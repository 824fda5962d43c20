"""The labels through the door: of one pump, of all, and none without an address that a phone reaches."""

from __future__ import annotations

from dataclasses import replace

from fastapi.testclient import TestClient

from api.answers.source import Source
from api.routes import create_app
from dashboards import addresses

HERE = "http://127.0.0.1:8620"
WORN = "Lap <b>pool</b> 2"


def page(source: Source, pump: str | None = None) -> str:
    with TestClient(create_app(source), base_url=HERE) as client:
        answer = client.get(addresses.label_address(pump))
    assert answer.status_code == 200
    return answer.text


def reachable(source: Source) -> Source:
    return replace(source, site=source.site.model_copy(update={"address": "http://pumps.local:8620"}))


def test_a_label_names_the_address_of_its_pump_at_the_sites_own_address(analysed: Source) -> None:
    text = page(reachable(analysed), "Lap pool 1")
    assert text.count('class="label"') == 1
    assert "http://pumps.local:8620/pump?name=Lap+pool+1" in text
    assert "127.0.0.1" not in text


def test_the_sheet_holds_every_pump_of_the_site(analysed: Source) -> None:
    assert page(reachable(analysed)).count('class="label"') == len(analysed.site.pumps)


def test_without_an_address_nothing_is_printed_that_leads_to_this_machine(analysed: Source) -> None:
    text = page(analysed, WORN)
    assert 'class="label"' not in text
    assert "<svg viewBox" not in text
    assert "address = &#34;http://pumps.local:8620&#34;" in text or 'address = "http' in text


def test_a_pump_that_is_not_there_has_no_label(analysed: Source) -> None:
    with TestClient(create_app(analysed), base_url=HERE) as client:
        assert client.get(addresses.label_address("P99")).status_code == 404


def test_the_pumps_page_leads_to_its_label(analysed: Source) -> None:
    with TestClient(create_app(analysed), base_url=HERE) as client:
        assert addresses.label_address("Fountain") in client.get(addresses.pump_address("Fountain")).text
