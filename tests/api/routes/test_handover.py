"""The sheet of a pump's first day, and the one way in which its curve is accepted."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from api.analysis.site_pass import analyse_site
from api.analytics.facts import ServiceEvent
from api.answers.field_checks import record_field_check
from api.answers.source import Source, open_source
from api.routes import create_app
from dashboards import addresses

PUMP = "Lap pool 1"
HERE = "http://127.0.0.1:8620"
PLATES = """
starts_per_hour_limit = 8
data_sheet = [{ flow_m3h = 0, head_m = 20.2 }, { flow_m3h = 20, head_m = 15 }, { flow_m3h = 30, head_m = 9 }]
[pump.nameplate]
make = "Nobody <i>& Sons</i>"
serial = "000017"
rated_flow_m3h = "88 gpm"
impeller_diameter_mm = 165.1
phases = 3
bearings = [{ place = "drive end", outside_mm = 52, width_mm = 15 }]
[pump.taps]
suction_gauge_height_m = -0.3
[pump.control]
mode = "constant_pressure"
bus_master = "the building's controller"
"""


@contextmanager
def served(source: Source) -> Iterator[TestClient]:
    with TestClient(create_app(source), base_url=HERE, follow_redirects=False) as client:
        yield client


@pytest.fixture
def client(analysed: Source) -> Iterator[TestClient]:
    with served(analysed) as client:
        yield client


@pytest.fixture
def plated(analysed_folder: Path, tmp_path: Path, small_site: object) -> Iterator[TestClient]:
    """The analysed site with what a tech wrote down of its first pump."""
    folder = tmp_path / "plated"
    shutil.copytree(analysed_folder, folder)
    file = folder / "site.toml"
    pumps = file.read_text(encoding="utf-8").split("\n[[pump]]\n")
    file.write_text("\n[[pump]]\n".join([pumps[0], pumps[1] + PLATES, *pumps[2:]]), encoding="utf-8")
    source = open_source(file, small_site.clock_at_end())  # type: ignore[attr-defined]
    with served(source) as client:
        yield client
    source.close()


def sheet(client: TestClient, pump: str = PUMP, **more: str) -> str:
    answer = client.get(addresses.HANDOVER, params={"pump": pump} | more)
    assert answer.status_code == 200
    return answer.text.replace("\N{NO-BREAK SPACE}", " ")


def sheet_of(source: Source, pump: str) -> str:
    with served(source) as client:
        return sheet(client, pump)


def test_the_sheet_shows_what_was_written_down_in_the_readers_units(plated: TestClient) -> None:
    text = sheet(plated, units="US")
    for words in (
        "000017",
        "88.0 gpm",
        "6.50 in",
        "three phases",
        "52 mm outside, 15 mm wide",
        "holds a constant",
    ):
        assert words in text, words
    # 88 gpm is 19.987 m³/h, by 231 in³ a gallon (NIST SP 811, appendix B).
    assert "20.0 m³/h" in sheet(plated, units="SI")
    assert "the building&#39;s controller" in text
    assert "Nobody &lt;i&gt;&amp; Sons" in text


def test_the_sheet_shows_the_taps_and_leaves_open_what_nobody_stated(plated: TestClient) -> None:
    text = sheet(plated)
    assert "gauge −0.30 m over the common level" in text
    assert text.count("not stated</span>") >= 5


def test_the_sheet_says_where_values_come_from_and_that_their_proof_is_not_kept(client: TestClient) -> None:
    text = sheet(client, "Hot tub")
    assert "estimated by the drive" in text
    assert "Not kept here. owncurve check proves each value" in text
    assert "not at the drive: from trend logs" in text


def test_the_sheet_names_the_newest_field_check_with_what_the_drive_said_then(analysed: Source) -> None:
    # 0.5 bar and 1.5 bar over water of 998.2 kg/m3: 100 kPa / (998.2 * 9.80665) is 10.2 m.
    gauges = {
        "suction": "0.5 bar",
        "discharge": "1.5 bar",
        "suction_height": "0 m",
        "discharge_height": "0 m",
    }
    pipes = {"suction_pipe": "80 mm", "discharge_pipe": "80 mm", "span": "2.5 bar", "grade": "1A"}
    rest = {
        "division": "1 kPa",
        "speed": "2400 rpm",
        "minutes": "30",
        "flow": "16 m3/h",
        "flow_within": "2 %",
    }
    record_field_check(analysed, analysed.site.pump("Hot tub"), gauges | pipes | rest)
    with served(analysed) as client:
        text = sheet(client, "Hot tub")
    assert "newest on 11 July 2026: " in text
    assert "head 10.2 m (" in text
    assert "beside the drive&#39;s" in text
    assert "Field check" not in sheet_of(analysed, PUMP)


def test_the_sheet_says_what_is_watched_and_by_which_limits(plated: TestClient) -> None:
    text = sheet(plated)
    assert "told above 8 an hour (as the site file states)" in text
    assert "told from 0.8 % on, once its evidence is 5 standard errors wide" in text


def test_the_sheet_names_no_limit_for_what_is_not_watched(client: TestClient) -> None:
    text = sheet(client, "Fountain")
    assert "starting too often (how often it is used to start is not known yet" in text
    assert "told above" not in text


def test_the_sheet_shows_cautions_and_room_to_sign(client: TestClient) -> None:
    text = sheet(client)
    assert "lock it out, tag it" in text
    assert "Handed over by" in text
    assert "Taken over by" in text


def test_a_full_curve_is_accepted_by_a_role_and_the_sheet_says_so(client: TestClient) -> None:
    assert "by nobody yet" in sheet(client)
    address = addresses.handover_address(PUMP)
    answer = client.post(address, data={"role": "engineer", "note": "by its data sheet"})
    assert (answer.status_code, answer.headers["location"]) == (303, address)
    text = sheet(client)
    assert "by the engineer on 11 July 2026: by its data sheet" in text
    assert "Accept the curve" not in text


def test_it_is_accepted_once(client: TestClient) -> None:
    address = addresses.handover_address(PUMP)
    client.post(address, data={"role": "engineer"})
    answer = client.post(address, data={"role": "manager"})
    assert answer.status_code == 422
    assert "was accepted by the engineer on 11 July 2026" in answer.text
    assert "only recorded work that starts a new baseline replaces it" in answer.text


def test_a_pump_without_a_curve_has_nothing_to_accept(client: TestClient) -> None:
    assert "not yet: 0 judged hours" in sheet(client, "Fountain")
    answer = client.post("/api/handover/accept", params={"pump": "Fountain"}, json={"role": "engineer"})
    assert answer.status_code == 422
    assert (
        answer.json()["detail"] == "Fountain has no curve of its own yet (0 judged hours); nothing to accept"
    )


def test_a_curve_that_still_learns_is_not_accepted(
    new_site: Callable[[str], Source], small_site: object
) -> None:
    source = new_site("young")
    small_site.fill(source.store, 0, 12 * 288)  # type: ignore[attr-defined]
    analyse_site(source.site, source.store, source.api_store, source.clock)
    with served(source) as client:
        text = sheet(client)
        assert "still being learned, full after about 28 days of running" in text
        assert "Accept the curve" not in text
        answer = client.post(addresses.handover_address(PUMP), data={"role": "engineer"})
    assert answer.status_code == 422
    assert "is still being learned (12 days so far" in answer.text


def test_only_recorded_work_replaces_an_accepted_curve_and_the_next_is_accepted_anew(
    analysed: Source,
) -> None:
    with served(analysed) as client:
        client.post(addresses.handover_address(PUMP), data={"role": "engineer"})
        before = client.get("/api/handover", params={"pump": PUMP}).json()["baseline"]
        done = ServiceEvent(
            time_utc_ms=analysed.clock.now_utc_ms() - 8 * 86_400_000,
            kind="impeller_changed",
            new_baseline=True,
        )
        analysed.api_store.add_event(PUMP, done, "technician")
        analyse_site(analysed.site, analysed.store, analysed.api_store, analysed.clock)
        after = client.get("/api/handover", params={"pump": PUMP}).json()["baseline"]
        assert "since the work of 3 July 2026" in sheet(client)
    assert (before["state"], before["accepted_by"]) == ("full", "engineer")
    assert (after["state"], after["accepted_by"]) == ("learning", None)


def test_a_program_reads_the_sheet_in_si_units(plated: TestClient) -> None:
    answer = plated.get("/api/handover", params={"pump": PUMP}).json()
    assert answer["pump"]["nameplate"]["rated_flow_m3h"] == pytest.approx(19.98697)
    assert answer["pump"]["control"]["mode"] == "constant_pressure"
    assert answer["starts_limit_per_hour"] == 8.0
    # The data sheet's curve was drawn a little above what the readings follow: the difference is shown.
    assert -0.1 < answer["head_against_data_sheet"] < 0.1


def test_a_program_accepts_a_curve_too(client: TestClient) -> None:
    answer = client.post(
        "/api/handover/accept", params={"pump": PUMP}, json={"role": "manager", "note": "ok"}
    )
    assert answer.json()["baseline"]["accepted_by"] == "manager"


@pytest.mark.parametrize("typed", [{"role": "boss"}, {"role": ""}, {"role": "engineer", "note": "x" * 201}])
def test_a_wrong_word_is_told_beside_its_field_and_nothing_is_accepted(
    client: TestClient, typed: dict[str, str]
) -> None:
    assert client.post(addresses.handover_address(PUMP), data=typed).status_code == 422
    assert "by nobody yet" in sheet(client)


def test_the_first_weeks_readings_are_drawn_on_the_own_curve_and_the_printed_one(plated: TestClient) -> None:
    figure = plated.get(f"{addresses.FIGURE}/first", params={"pump": PUMP}).json()
    names = " ".join(str(trace.get("name")) for trace in figure["data"])
    assert "data sheet" in names
    assert all(trace.get("meta") != "now" for trace in figure["data"])


def test_the_pumps_page_leads_to_the_sheet(client: TestClient) -> None:
    assert addresses.handover_address(PUMP) in client.get(addresses.pump_address(PUMP)).text
