"""JSON answers hold what was stored, and every wrong question is answered with 422 and the reason."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from urllib.parse import urlencode

import pytest
from fastapi.testclient import TestClient

from api.answers.source import Source
from api.routes import create_app
from api.store.stored_finding import State

WORN = "Lap <b>pool</b> 2"
HERE = "http://127.0.0.1:8620"
FIRST_DAY = {"start": "2026-06-01T00:00:00Z", "end": "2026-06-02T00:00:00Z"}


@pytest.fixture
def client(analysed: Source) -> Iterator[TestClient]:
    with TestClient(create_app(analysed), base_url=HERE) as client:
        yield client


@pytest.fixture
def number(analysed: Source) -> int:
    return analysed.api_store.findings(WORN, [State.ACTIVE])[0].finding_id


def asked(**words: object) -> str:
    return f"/api/readings?{urlencode({'pump': 'Lap pool 1', **FIRST_DAY, **words})}"


def test_readings_come_as_they_were_stored(analysed: Source, client: TestClient) -> None:
    answer = client.get(asked()).json()
    stored = analysed.store.rows("Lap pool 1", 1_780_272_000_000, 1_780_358_400_000)
    assert len(answer["rows"]) == 288
    assert answer["rows"][0][0] == "2026-06-01T00:00:00Z"
    assert [row[1:-1] for row in answer["rows"]] == [list(row[1:]) for row in stored]
    assert (answer["columns"][-1], {row[-1] for row in answer["rows"]}) == ("source", {"polled"})


def test_more_readings_than_the_limit_are_had_by_asking_on(client: TestClient) -> None:
    first = client.get(asked(limit=100)).json()
    second = client.get(asked(limit=100, start=first["next_start_utc"])).json()
    third = client.get(asked(limit=100, start=second["next_start_utc"])).json()
    whole = client.get(asked()).json()
    assert first["rows"] + second["rows"] + third["rows"] == whole["rows"]
    assert third["next_start_utc"] is None


def test_an_offset_from_utc_is_honoured(client: TestClient) -> None:
    shifted = asked(start="2026-06-01T02:00:00+02:00", end="2026-06-02T02:00:00+02:00")
    assert client.get(shifted).json()["rows"] == client.get(asked()).json()["rows"]


@pytest.mark.parametrize(
    "words",
    [
        {"start": "2026-06-01T00:00:00"},
        {"start": "yesterday"},
        {"start": "0001-01-01T00:00:00Z"},
        {"end": "9999-12-31T23:59:59Z"},
        {"limit": 0},
        {"limit": 5001},
        {"limit": 10**30},
        {"limit": "true"},
        {"limit": 1.5},
        {"pump": "Lap\0pool"},
        {"pump": ""},
        {"pump": "x" * 101},
        {"pump": "line\nbreak"},
    ],
    ids=str,
)
def test_a_question_that_makes_no_sense_is_answered_with_the_reason(
    client: TestClient, words: dict[str, object]
) -> None:
    answer = client.get(asked(**words))
    assert answer.status_code == 422
    assert next(iter(words)) in answer.json()["detail"]


@pytest.mark.parametrize(
    "body",
    [
        {"role": "emperor"},
        {"role": True},
        {"role": "engineer", "note": "a\0b"},
        {"role": "engineer", "note": "x" * 201},
        {"role": "engineer", "person": "somebody"},
        [],
    ],
    ids=str,
)
def test_an_acknowledgement_that_makes_no_sense_changes_nothing(
    analysed: Source, client: TestClient, number: int, body: object
) -> None:
    assert client.post(f"/api/findings/{number}/acknowledge", json=body).status_code == 422
    assert len(analysed.api_store.changes(number)) == 1


@pytest.mark.parametrize("wrong", ["0", "-1", "true", "1.5", "x", str(2**70), "%00"])
def test_a_finding_number_must_be_a_number(client: TestClient, wrong: str) -> None:
    assert client.get(f"/api/findings/{wrong}").status_code == 422


def test_an_acknowledgement_is_in_the_history_with_its_role_and_note(client: TestClient, number: int) -> None:
    answer = client.post(f"/api/findings/{number}/acknowledge", json={"role": "manager", "note": "call"})
    assert answer.status_code == 200
    assert answer.json()["finding"]["acknowledged_by"] == "manager"
    last = answer.json()["history"][-1]
    assert (last["what"], last["by_role"], last["note"]) == ("acknowledged", "manager", "call")


@pytest.mark.parametrize(("method", "path"), [("get", ""), ("post", "/acknowledge")])
def test_a_finding_that_is_not_there_is_not_found(client: TestClient, method: str, path: str) -> None:
    body = {"json": {"role": "manager"}} if method == "post" else {}
    assert client.request(method, f"/api/findings/999{path}", **body).status_code == 404


def test_findings_carry_the_agreed_keys(client: TestClient) -> None:
    answer = client.get(f"/api/findings?{urlencode({'pump': WORN, 'state': 'active'})}").json()
    (finding,) = answer["findings"]
    agreed = {
        *("pump", "kind", "first_utc", "last_utc", "state", "effect", "effect_low", "effect_high"),
        *("causes", "assessable_share"),
    }
    assert agreed <= finding.keys()
    assert (finding["kind"], finding["state"]) == ("head_loss", "active")
    assert finding["effect_low"] < finding["effect"] < finding["effect_high"] < 0


def test_an_answer_says_whether_it_is_seen_now_and_analysis_is_not_behind(client: TestClient) -> None:
    answer = client.get("/api/findings").json()
    assert answer["pumps_not_analysed"] == []
    active = [item for item in answer["findings"] if item["state"] == "active"]
    assert active
    assert all(item["is_seen_now"] and item["is_analysed"] for item in active)
    assert not any(item["is_seen_now"] for item in answer["findings"] if item["state"] != "active")


def test_a_pump_with_readings_that_nobody_looked_at_is_named_by_every_answer(
    analysed: Source, client: TestClient, number: int
) -> None:
    newer = analysed.store.latest(WORN)
    assert newer is not None
    analysed.store.append([replace(newer, time_utc_ms=newer.time_utc_ms + 1000)])
    assert client.get("/api/findings").json()["pumps_not_analysed"] == [WORN]
    assert client.get("/api/findings?pump=Lap+pool+1").json()["pumps_not_analysed"] == []
    assert not client.get(f"/api/findings/{number}").json()["finding"]["is_analysed"]
    pumps = {pump["name"]: pump["is_analysed"] for pump in client.get("/api/site").json()["pumps"]}
    assert not pumps[WORN]
    assert pumps["Lap pool 1"]


def test_energy_per_volume_is_the_ratio_of_what_was_seen(client: TestClient) -> None:
    weeks = client.get("/api/energy?pump=Lap+pool+1").json()
    whole = [week for week in weeks if week["week_has_ended"]]
    assert len(whole) == 5
    for week in whole:
        assert week["kwh_per_m3"] == pytest.approx(week["energy_kwh"] / week["volume_m3"], rel=1e-6)
        assert week["cost"] == pytest.approx(week["energy_kwh"] * 0.2)


def test_weeks_begin_at_local_midnight(client: TestClient) -> None:
    weeks = client.get("/api/energy?pump=Lap+pool+1").json()
    # Lisbon is an hour ahead of UTC in June (IANA time zone database).
    assert weeks[1]["week_start_utc"] == "2026-06-07T23:00:00Z"


def test_the_site_names_its_pumps_and_what_they_do(client: TestClient) -> None:
    answer = client.get("/api/site").json()
    assert {pump["name"]: pump["state"] for pump in answer["pumps"]} == {
        "Lap pool 1": "running",
        WORN: "running",
        "Hot tub": "running",
        "Fountain": "no_data",
    }
    assert answer["data_as_of_utc"] == "2026-07-10T23:55:00Z"


def test_ready_tells_how_old_the_newest_reading_is(client: TestClient) -> None:
    assert client.get("/ready").json()["newest_reading_age_s"] == pytest.approx(300, abs=5)


@pytest.mark.parametrize("figure", ["head", "power", "trend", "energy"])
@pytest.mark.parametrize("pump", ["Lap pool 1", WORN, "Hot tub", "Fountain"])
@pytest.mark.parametrize("within", ["day", "week", "month", "all"])
def test_every_figure_of_every_pump_can_be_drawn(
    client: TestClient, figure: str, pump: str, within: str
) -> None:
    words = {"pump": pump, "scheme": "dark", **({} if figure == "energy" else {"range": within})}
    answer = client.get(f"/figure/{figure}?{urlencode(words)}")
    assert answer.status_code == 200
    drawn = json.loads(answer.text, parse_constant=pytest.fail)
    assert {"data", "layout", "caption", "table"} <= drawn.keys()
    assert all(len(trace.get("x") or ()) <= 2000 for trace in drawn["data"])
    # The chart library reads markup in names; the caption and the table are set as text.
    assert "<b>" not in json.dumps([drawn["data"], drawn["layout"]])


def test_an_unknown_range_or_scheme_is_refused(client: TestClient) -> None:
    assert client.get("/figure/head?pump=Hot+tub&range=decade").status_code == 422
    assert client.get("/figure/head?pump=Hot+tub&scheme=pink").status_code == 422
