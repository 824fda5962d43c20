"""A pump's documents through the door: sent by a form or a program, given back safely, really removed."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from fastapi.testclient import TestClient

from api.answers.document_content import LARGEST_BYTES
from api.answers.source import Source
from api.routes import create_app
from api.routes.guard import LARGEST_UPLOAD_BYTES
from dashboards import addresses

PUMP = "Lap <b>pool</b> 2"
HERE = "http://127.0.0.1:8620"
PDF = b"%PDF-1.4\n1 0 obj<</Type/Catalog>>endobj\ntrailer<</Root 1 0 R>>\n%%EOF\n"
JPEG = b"\xff\xd8\xff\xe0\x00\x10JFIF\x00\x01\x01\x00\x00\x01\x00\x01\x00\x00\xff\xd9"


@pytest.fixture
def client(analysed: Source) -> Iterator[TestClient]:
    with TestClient(create_app(analysed), base_url=HERE, follow_redirects=False) as client:
        yield client


def send(client: TestClient, content: bytes, name: str = "manual.pdf", **words: str) -> tuple[int, str]:
    fields = {"title": "", "kind": "manual", "role": "technician"} | words
    answer = client.post(
        addresses.documents_address(PUMP), data=fields, files={"file": (name, content, "text/plain")}
    )
    return answer.status_code, answer.headers.get("location", answer.text)


def listed(client: TestClient) -> list[dict[str, object]]:
    rows: list[dict[str, object]] = client.get("/api/documents", params={"pump": PUMP}).json()
    return rows


def test_a_document_that_was_sent_stands_on_the_page_and_comes_back_as_it_was(client: TestClient) -> None:
    status, address = send(client, PDF, title="Pump manual")
    assert (status, address) == (303, addresses.documents_address(PUMP, "added"))
    page = client.get(address).text
    assert "Pump manual" in page
    assert "It is kept." in page
    assert client.get(addresses.document_address(1)).content == PDF


def test_a_pdf_is_only_ever_saved_and_never_shown_by_the_browser(client: TestClient) -> None:
    send(client, PDF, title="../../Pump \N{LATIN SMALL LETTER U WITH DIAERESIS}")
    headers = client.get(addresses.document_address(1)).headers
    assert headers["content-type"] == "application/pdf"
    assert headers["content-disposition"] == (
        "attachment; filename=\"Pump _.pdf\"; filename*=UTF-8''Pump%20%C3%BC.pdf"
    )
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["cache-control"] == "no-store"
    assert "script-src 'self'" in headers["content-security-policy"]


def test_a_picture_is_shown_as_the_picture_that_it_is_whatever_its_name_was(client: TestClient) -> None:
    send(client, JPEG, name="page.html", kind="photo")
    headers = client.get(addresses.document_address(1)).headers
    assert headers["content-type"] == "image/jpeg"
    assert headers["content-disposition"].startswith('inline; filename="page.jpg"')


def test_a_web_page_named_pdf_is_refused_beside_its_field_and_what_was_typed_stays(
    client: TestClient,
) -> None:
    status, page = send(client, b"<html><script>alert(1)</script></html>", title="My manual")
    assert status == 422
    assert "is no PDF, PNG or JPEG: its content says so, whatever its name is" in page
    assert 'value="My manual"' in page
    assert listed(client) == []


def test_a_file_of_21_megabytes_is_refused_beside_its_field(client: TestClient) -> None:
    status, page = send(client, PDF[:9] + b"\n" * 21_000_000 + PDF[9:])
    assert status == 422
    assert "has 21.0 MB; at most 20 MB are kept of a document" in page


def test_a_file_of_20_megabytes_is_kept(client: TestClient) -> None:
    body = PDF[:9] + b"\n" * (LARGEST_BYTES - len(PDF)) + PDF[9:]
    assert send(client, body)[0] == 303
    assert len(client.get(addresses.document_address(1)).content) == LARGEST_BYTES


def test_far_more_than_that_is_refused_at_the_door(client: TestClient) -> None:
    answer = client.post("/api/documents", params={"pump": PUMP, "kind": "manual"}, content=b"x" * 32_000_001)
    assert LARGEST_UPLOAD_BYTES == 32_000_000
    assert answer.status_code == 413


def test_no_other_address_takes_more_than_before(client: TestClient) -> None:
    body = b"x" * (64 * 1024 + 1)
    for address in (addresses.DOCUMENT_REMOVE, addresses.service_address(PUMP), "/api/documents/1/remove"):
        assert client.post(address, content=body).status_code == 413


def test_a_form_without_a_file_or_a_kind_says_both_at_once(client: TestClient) -> None:
    answer = client.post(addresses.documents_address(PUMP), data={"title": "x", "role": "technician"})
    assert answer.status_code == 422
    assert "is empty; expected a PDF, PNG or JPEG" in answer.text
    assert "is missing; expected one of manual, submittal" in answer.text


def test_the_same_twice_is_one_and_says_so(client: TestClient) -> None:
    send(client, PDF, title="First")
    assert send(client, PDF, title="Second")[1] == addresses.documents_address(PUMP, "same")
    assert [row["title"] for row in listed(client)] == ["First"]


def test_a_title_with_markup_is_shown_as_it_was_typed(client: TestClient) -> None:
    send(client, PDF, title="<script>alert(1)</script>")
    page = client.get(addresses.documents_address(PUMP)).text
    assert "<script>alert(1)" not in page
    assert "&lt;script&gt;alert(1)" in page


def test_what_is_removed_is_gone_and_a_line_says_when_and_by_whom(client: TestClient) -> None:
    send(client, JPEG, kind="photo", title="Somebody by name")
    answer = client.post(addresses.DOCUMENT_REMOVE, data={"id": "1", "role": "manager"})
    assert answer.status_code == 303
    page = client.get(answer.headers["location"]).text
    assert "What was removed" in page
    assert "by the manager" in page
    assert "Somebody by name" not in page
    assert client.get(addresses.document_address(1)).status_code == 404
    assert client.post(addresses.DOCUMENT_REMOVE, data={"id": "1", "role": "manager"}).status_code == 404


def test_a_code_that_nobody_knows_says_nothing(client: TestClient) -> None:
    page = client.get(addresses.documents_address(PUMP, "<b>sold</b>")).text
    assert "sold" not in page


def test_a_program_keeps_lists_and_removes_them_too(client: TestClient) -> None:
    words = {"pump": PUMP, "kind": "start_up_sheet", "title": "First day", "role": "engineer"}
    added = client.post("/api/documents", params=words, content=PDF).json()
    assert (added["is_new"], added["document"]["media_type"]) == (True, "application/pdf")
    again = client.post("/api/documents", params=words, content=PDF).json()
    assert (again["is_new"], again["document"]["id"]) == (False, added["document"]["id"])
    gone = client.post("/api/documents/1/remove", json={"role": "manager"}).json()
    assert (gone["document"]["removed_by"], gone["also_with"], gone["is_wiped"]) == ("manager", [], True)


def test_a_program_is_told_all_mistakes_in_words(client: TestClient) -> None:
    words = {"pump": PUMP, "kind": "manul", "role": "boss"}
    answer = client.post("/api/documents", params=words, content=b"<html>")
    assert answer.status_code == 422
    said = answer.json()["detail"]
    assert "file: is no PDF" in said
    assert "kind: 'manul' is no kind of document; did you mean 'manual'?" in said
    assert "role: 'boss' is no role" in said


def test_a_page_of_somebody_else_cannot_add_or_remove(client: TestClient) -> None:
    foreign = {"Origin": "http://elsewhere.example"}
    for address in (addresses.documents_address(PUMP), addresses.DOCUMENT_REMOVE, "/api/documents"):
        assert client.post(address, headers=foreign, content=b"x").status_code == 403


def test_the_pumps_page_leads_there(client: TestClient) -> None:
    page = client.get(addresses.pump_address(PUMP)).text
    assert addresses.documents_address(PUMP).replace("&", "&amp;") in page
