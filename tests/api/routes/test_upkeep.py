"""The upkeep page, its parts on other pages, and the same for programs."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

from api.answers.source import open_source
from api.routes.app import create_app

TASKS = """
[[upkeep]]
kind = "greasing"
every_run_h = 900
bearings = [{ place = "drive <b>end</b>", outside_mm = 80, width_mm = 18 }]

[[upkeep]]
kind = "strainer"
pumps = ["Lap pool 1"]
every_days = 400

[[upkeep]]
kind = "other"
name = "Listen & look"
pumps = ["Hot tub"]
every_days = 30
note = "<i>left</i> side"
"""


@pytest.fixture
def client(analysed_folder: Path, tmp_path: Path, small_site: Any) -> Iterator[TestClient]:  # noqa: ANN401
    shutil.copytree(analysed_folder, tmp_path / "site")
    file = tmp_path / "site" / "site.toml"
    file.write_text(file.read_text(encoding="utf-8") + TASKS, encoding="utf-8")
    source = open_source(file, small_site.clock_at_end())
    with TestClient(create_app(source), base_url="http://127.0.0.1") as found:
        yield found
    source.close()


def text_of(client: TestClient, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200, answer.text
    return answer.text


def rows_of(page: str) -> list[str]:
    return re.findall(
        r"<tr>(.*?)</tr>", page.split('<table class="pumps tasks">')[1].split("</table>")[0], re.S
    )


def test_the_page_lists_every_task_and_the_due_ones_first(client: TestClient) -> None:
    _, *rows = rows_of(text_of(client, "/upkeep"))
    states = [re.findall(r"Due soon|Not yet due|Not known|Due\b", row)[0] for row in rows]
    # Greasing at three pumps that run and the tub's other task are due, the fountain knows nothing.
    assert states == ["Due", "Due", "Due", "Due", "Not known", "Not yet due"]


def test_of_one_pump_only_its_own_are_listed(client: TestClient) -> None:
    _, *rows = rows_of(text_of(client, "/upkeep?pump=Lap+pool+1"))
    assert len(rows) == 2


def test_cautions_come_before_what_is_to_be_done(client: TestClient) -> None:
    page = text_of(client, "/upkeep")
    assert 0 < page.index("lock it out") < page.index("0.005 × outside diameter")
    assert "common practice" in page


def test_names_places_and_notes_stay_text(client: TestClient) -> None:
    page = text_of(client, "/upkeep")
    assert "<b>" not in page
    assert "<i>" not in page
    assert "drive &lt;b&gt;end" in page


def test_run_hours_can_be_followed_to_the_hours_they_are_the_sum_of(client: TestClient) -> None:
    page = text_of(client, "/upkeep?pump=Lap+pool+1")
    (address,) = re.findall(r'href="(/api/hours\?[^"]+)"', page)
    header, *hours = text_of(client, address.replace("&amp;", "&")).splitlines()
    column = header.split(",").index("seconds_running_s")
    ran_h = sum(float(line.split(",")[column]) for line in hours) / 3600
    assert f">{int(ran_h):,} of 900" in page.replace("\N{NO-BREAK SPACE}", " ")


def test_a_record_is_begun_with_the_work_filled_in(client: TestClient) -> None:
    page = text_of(client, "/upkeep?pump=Hot+tub")
    addresses = [address.replace("&amp;", "&") for address in re.findall(r'href="(/service\?[^"]+)"', page)]
    assert addresses == [
        "/service?pump=Hot+tub&what=other_upkeep&note=Listen+%26+look",
        "/service?pump=Hot+tub&what=greased",
    ]
    form = text_of(client, addresses[0])
    assert '<option value="other_upkeep" selected>' in form
    assert 'value="Listen &amp; look"' in form
    assert "Nothing was recorded" not in form


def test_once_recorded_it_is_due_no_more(client: TestClient) -> None:
    form = {"what": "greased", "at": "2026-07-08T10:00", "role": "technician", "note": ""}
    sent = client.post(
        "/service?pump=Hot+tub", data=form, headers={"origin": "http://127.0.0.1"}, follow_redirects=False
    )
    assert sent.status_code == 303
    found = {row["task"]: row["state"] for row in client.get("/api/upkeep?pump=Hot+tub").json()}
    assert found == {"greasing": "not_yet", "other": "due"}


def test_the_week_page_holds_what_is_due_now(client: TestClient) -> None:
    page = text_of(client, "/week")
    assert "Upkeep due now" in page
    assert len(rows_of(page)) == 1 + 5
    assert "All 6 tasks" in page


def test_a_pumps_page_holds_its_own(client: TestClient) -> None:
    assert len(rows_of(text_of(client, "/pump?name=Lap+pool+1"))) == 1 + 1


def test_a_pump_that_is_not_there_is_said(client: TestClient) -> None:
    assert client.get("/upkeep?pump=Lido").status_code == 404
    assert client.get("/api/upkeep?pump=Lido").status_code == 404


def test_programs_read_the_same(client: TestClient) -> None:
    rows = client.get("/api/upkeep").json()
    assert [row["state"] for row in rows] == ["due"] * 4 + ["unknown", "not_yet"]
    assert rows[0]["grease"] == [] or rows[0]["grease"][0]["grams"] == pytest.approx(7.2)


def test_a_site_without_tasks_is_told_how_to_begin(analysed_folder: Path, tmp_path: Path) -> None:
    shutil.copytree(analysed_folder, tmp_path / "bare")
    source = open_source(tmp_path / "bare" / "site.toml")
    with TestClient(create_app(source), base_url="http://127.0.0.1") as bare:
        assert "owncurve upkeep --suggest" in text_of(bare, "/upkeep")
        assert "Upkeep due now" not in text_of(bare, "/week")
    source.close()
