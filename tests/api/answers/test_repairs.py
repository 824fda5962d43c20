"""What a recorded work did, from the store to the page: the small site's worn pump, repaired or not."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime

import pytest
from fastapi.testclient import TestClient

from api.analysis.site_pass import analyse_site
from api.answers.repairs import effects
from api.answers.service_log import entries, record_work, take_back
from api.answers.source import Source
from api.routes import create_app
from api.store.stored_finding import State
from dashboards import addresses
from dashboards.service_views import EffectView

WORN, HEALTHY, BLIND = "Lap <b>pool</b> 2", "Lap pool 1", "Hot tub"
START_MS = 1_780_272_000_000
DAY_MS = 86_400_000
WORN_FROM_DAY = 31
"""As the small site is made: 6 % of head lost from day 31 of 40."""


def on(day: float) -> str:
    return datetime.fromtimestamp((START_MS + day * DAY_MS) / 1000, UTC).isoformat()


def record(source: Source, pump: str, what: str, day: float, **more: str) -> int:
    done = record_work(source, source.site.pump(pump), what=what, at=on(day), role="technician", **more)
    return done.event_id


def effect(source: Source, pump: str, number: int) -> EffectView:
    return effects(source, source.site.pump(pump), source.api_store.service_log(pump))[number]


@pytest.fixture
def client(analysed: Source) -> Iterator[TestClient]:
    with TestClient(create_app(analysed), base_url="http://127.0.0.1:8620") as client:
        yield client


def test_a_ring_that_was_recorded_while_nothing_was_done_did_not_work(analysed: Source) -> None:
    number = record(analysed, WORN, "ring_replaced", 36)
    found = effect(analysed, WORN, number)
    assert [(each.kind, each.verdict) for each in found.answered] == [("head_loss", "did_not_work")]
    assert found.since["head"].low < -0.06 < found.since["head"].high
    assert abs(found.change["head"].value) < 0.01


def test_days_before_the_loss_are_no_part_of_the_comparison(analysed: Source) -> None:
    number = record(analysed, WORN, "ring_replaced", 36)
    assert effect(analysed, WORN, number).before["head"] == pytest.approx(-0.06, abs=0.005)


def test_the_findings_page_says_what_the_work_did(analysed: Source, client: TestClient) -> None:
    loss = next(item for item in analysed.api_store.findings(WORN, [State.ACTIVE]))
    address = addresses.finding_address(loss.finding_id)
    assert "After the work of" not in client.get(address).text
    record(analysed, WORN, "ring_replaced", 36)
    page = client.get(address).text
    assert "After the work of" in page
    assert "did not work: head below its own curve is still there." in page


def test_work_of_another_kind_answers_the_finding_only_where_a_person_says_so(analysed: Source) -> None:
    loss = analysed.api_store.findings(WORN, [State.ACTIVE])[0]
    unsaid = record(analysed, WORN, "vented", 36)
    assert effect(analysed, WORN, unsaid).answered == ()
    take_back(analysed, analysed.site.pump(WORN), number=str(unsaid), role="engineer", note="again")
    said = record(analysed, WORN, "vented", 36, finding=str(loss.finding_id))
    assert [each.finding_id for each in effect(analysed, WORN, said).answered] == [loss.finding_id]


def test_work_on_a_healthy_pump_changes_nothing_and_claims_no_cure(analysed: Source) -> None:
    number = record(analysed, HEALTHY, "ring_replaced", 34)
    found = effect(analysed, HEALTHY, number)
    assert found.answered == ()
    assert found.change["head"].low <= 0.0 <= found.change["head"].high


def test_a_pump_whose_flow_and_head_are_computed_is_never_credited_with_head(analysed: Source) -> None:
    number = record(analysed, BLIND, "ring_replaced", 34)
    found = effect(analysed, BLIND, number)
    assert not found.is_judged
    assert "head" not in found.since
    assert "energy" not in found.since


def test_work_after_which_nothing_was_read_yet_is_too_early(analysed: Source) -> None:
    number = record(analysed, WORN, "ring_replaced", 39.98)
    (answered,) = effect(analysed, WORN, number).answered
    assert answered.verdict == "too_early"


def test_a_new_baseline_is_compared_with_the_curve_of_before(analysed: Source) -> None:
    pump = analysed.site.pump(WORN)
    record_work(
        analysed, pump, what="impeller_changed", at=on(36), new_baseline=True, role="engineer", note=""
    )
    analyse_site(analysed.site, analysed.store, analysed.api_store, analysed.clock)
    (entry,) = entries(analysed, pump)
    assert entry.effect is not None
    assert entry.effect.since["head"].value == pytest.approx(-0.06, abs=0.006)
    assert [each.verdict for each in entry.effect.answered] == ["did_not_work"]


def test_work_during_the_baseline_has_no_curve_to_be_held_against(analysed: Source) -> None:
    number = record(analysed, HEALTHY, "ring_replaced", 10)
    found = effect(analysed, HEALTHY, number)
    assert not found.has_curve
    assert found.since == {}


def test_what_was_taken_back_is_measured_no_more_and_ends_no_comparison(analysed: Source) -> None:
    pump = analysed.site.pump(HEALTHY)
    first = record(analysed, HEALTHY, "ring_replaced", 33)
    second = record(analysed, HEALTHY, "impeller_changed", 36)
    assert effect(analysed, HEALTHY, first).is_over
    take_back(analysed, pump, number=str(second), role="engineer", note="another pump")
    assert not effect(analysed, HEALTHY, first).is_over
    assert [entry.effect is None for entry in entries(analysed, pump)] == [False, True]


def test_the_page_and_the_programs_answer_say_the_same(analysed: Source, client: TestClient) -> None:
    record(analysed, WORN, "ring_replaced", 36)
    (entry,) = client.get("/api/service", params={"pump": WORN}).json()
    page = client.get(addresses.service_address(WORN)).text
    assert entry["effect"]["answered"][0]["verdict"] == "did_not_work"
    assert entry["effect"]["measured"]["head"]["since_low"] < entry["effect"]["measured"]["head"]["since"]
    assert "Did not work: head below its own curve is still there." in page
    assert entry["effect"]["sentence"].split(";")[0] in page


def test_a_program_takes_an_entry_back(analysed: Source, client: TestClient) -> None:
    number = record(analysed, WORN, "vented", 36)
    said = {"number": number, "note": "was Lap pool 1", "role": "engineer"}
    answer = client.post("/api/service/take-back", params={"pump": WORN}, json=said)
    assert answer.status_code == 200
    assert answer.json()["taken_back_utc"] is not None
    assert client.post("/api/service/take-back", params={"pump": WORN}, json=said).status_code == 422


def test_the_form_that_takes_back_keeps_what_was_typed(analysed: Source, client: TestClient) -> None:
    number = record(analysed, WORN, "vented", 36)
    address = addresses.service_take_back_address(WORN)
    page = client.post(address, data={"number": str(number), "back_role": "engineer"}).text
    assert 'id="why-wrong"' in page
    assert f'<option value="{number}" selected>' in page
    answer = client.post(
        address,
        data={"number": str(number), "back_role": "engineer", "why": "was <b>another</b>"},
        follow_redirects=False,
    )
    assert (answer.status_code, answer.headers["location"]) == (303, addresses.service_address(WORN))
    assert "was &lt;b&gt;another&lt;/b&gt;" in client.get(addresses.service_address(WORN)).text
