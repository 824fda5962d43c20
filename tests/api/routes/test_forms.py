"""A form is taken in one way: a mistake stands beside its field with what was typed, success is the page."""

from __future__ import annotations

import re
from collections.abc import Iterator
from html import unescape

import pytest
from fastapi.testclient import TestClient

from api.answers.mistakes import FieldMistakes, Gathered
from api.answers.source import Source
from api.routes import create_app
from api.routes.forms import PostedForm
from dashboards import addresses

PUMP = "Lap pool 1"
HERE = "http://127.0.0.1:8620"
PAGE = addresses.service_address(PUMP)
RIGHT = {"what": "vented", "at": "2026-07-01T10:00", "role": "engineer", "note": "top of the riser"}


@pytest.fixture
def client(analysed: Source) -> Iterator[TestClient]:
    with TestClient(create_app(analysed), base_url=HERE, follow_redirects=False) as client:
        yield client


def kinds(source: Source) -> list[str]:
    return [event.kind for event in source.api_store.events(PUMP)]


def mistakes(html: str) -> dict[str, str]:
    found = re.findall(r'class="mistake" id="([a-z_]+)-wrong">([^<]*)<', html)
    return {name: unescape(sentence) for name, sentence in found}


def test_what_is_sent_is_recorded_and_the_browser_led_to_the_page(
    client: TestClient, analysed: Source
) -> None:
    answer = client.post(PAGE, data=RIGHT)
    assert (answer.status_code, answer.headers["location"]) == (303, PAGE)
    assert kinds(analysed) == ["vented"]
    assert "top of the riser" in client.get(PAGE).text


def test_a_form_with_files_is_read_in_the_same_way(client: TestClient, analysed: Source) -> None:
    answer = client.post(PAGE, data=RIGHT, files={"unasked": ("a.txt", b"not kept", "text/plain")})
    assert answer.status_code == 303
    assert kinds(analysed) == ["vented"]


def test_every_mistake_stands_beside_its_field_and_nothing_is_recorded(
    client: TestClient, analysed: Source
) -> None:
    wrong = RIGHT | {"what": "ventd", "at": "yesterday", "role": "boss", "new_baseline": "yes"}
    answer = client.post(PAGE, data=wrong)
    assert answer.status_code == 422
    assert set(mistakes(answer.text)) == {"what", "at", "role", "new_baseline"}
    assert "did you mean 'vented'" in mistakes(answer.text)["what"]
    assert kinds(analysed) == []


def test_what_was_typed_is_kept_beside_a_mistake(client: TestClient) -> None:
    html = client.post(PAGE, data=RIGHT | {"at": "2099-01-01T00:00", "new_baseline": "yes"}).text
    assert 'value="top of the riser"' in html
    assert 'value="2099-01-01T00:00"' in html
    assert '<option value="vented" selected>' in html
    assert '<option value="engineer" selected>' in html
    assert re.search(r'name="new_baseline" type="checkbox" value="yes" checked', html)


def test_a_box_that_was_not_ticked_is_not_ticked_in_the_form_that_comes_back(client: TestClient) -> None:
    html = client.post(PAGE, data=RIGHT | {"at": ""}).text
    (box,) = re.findall(r'<input id="new_baseline"[^>]*>', html)
    assert "checked" not in box.replace("checkbox", "")


def test_a_mistaken_field_is_named_to_those_who_cannot_see_the_form(client: TestClient) -> None:
    html = client.post(PAGE, data=RIGHT | {"at": ""}).text
    (tag,) = re.findall(r'<input id="at"[^>]*>', html)
    assert 'aria-invalid="true"' in tag
    assert 'aria-describedby="at-wrong"' in tag
    assert 'role="alert"' in html


def test_what_is_missing_says_what_was_expected(client: TestClient) -> None:
    found = mistakes(client.post(PAGE, data={"role": "engineer"}).text)
    assert set(found) == {"what", "at"}
    assert all(sentence.startswith("is missing; expected ") for sentence in found.values())


@pytest.mark.parametrize("letters", ["<script>alert(1)</script>", '" onfocus="x', "\u202e&amp;"])
def test_what_was_typed_comes_back_as_text(client: TestClient, letters: str) -> None:
    html = client.post(PAGE, data=RIGHT | {"note": letters, "at": ""}).text
    (value,) = re.findall(r'<input id="note"[^>]*?value="([^"]*)"', html)
    assert unescape(value) == letters
    assert "<script>alert" not in html


def test_a_foreign_page_may_not_send_a_form(client: TestClient, analysed: Source) -> None:
    answer = client.post(PAGE, data=RIGHT, headers={"origin": "http://elsewhere.example"})
    assert answer.status_code == 403
    assert kinds(analysed) == []


def test_something_that_is_no_form_is_refused(client: TestClient, analysed: Source) -> None:
    answer = client.post(PAGE, content=b'{"what": "vented"}', headers={"content-type": "application/json"})
    assert answer.status_code == 415
    assert kinds(analysed) == []


@pytest.mark.parametrize("body", [b"--x\r\nnothing of a form", b"\xff\xfe", b""])
def test_a_broken_form_is_refused_and_never_a_fault_of_the_server(
    client: TestClient, analysed: Source, body: bytes
) -> None:
    headers = {"content-type": "multipart/form-data; boundary=x"}
    assert client.post(PAGE, content=body, headers=headers).status_code in (400, 422)
    assert kinds(analysed) == []


def test_a_program_sends_the_same_as_json(client: TestClient, analysed: Source) -> None:
    answer = client.post("/api/service", params={"pump": PUMP}, json=RIGHT)
    assert answer.status_code == 200
    assert answer.json()["at_utc"] == "2026-07-01T09:00:00Z"
    assert kinds(analysed) == ["vented"]
    assert [each["what"] for each in client.get("/api/service", params={"pump": PUMP}).json()] == ["vented"]


def test_a_program_is_told_every_field_that_is_wrong_in_one_line(
    client: TestClient, analysed: Source
) -> None:
    answer = client.post("/api/service", params={"pump": PUMP}, json=RIGHT | {"what": "x", "at": "soon"})
    assert answer.status_code == 422
    sentence = answer.json()["detail"]
    assert sentence.startswith("what: 'x' is no work known here")
    assert "; at: " in sentence
    assert kinds(analysed) == []


def test_a_line_that_is_too_long_or_no_line_names_its_field() -> None:
    form = PostedForm(values={"note": "a\nb", "words": "x" * 201})
    for name, sentence in (("note", "control character"), ("words", "201 letters")):
        with pytest.raises(FieldMistakes, match=sentence) as mistaken:
            form.text(name)
        assert list(mistaken.value.sentences) == [name]


def test_of_two_mistakes_in_one_field_the_first_is_told() -> None:
    gathered = Gathered()
    gathered.refuse("at", "is missing")
    gathered.refuse("at", "is odd")
    with pytest.raises(FieldMistakes, match="at: is missing") as mistaken:
        gathered.must_be_right()
    assert mistaken.value.sentences == {"at": "is missing"}
