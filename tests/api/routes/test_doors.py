"""Who may ask, what may be sent, what every answer carries, and that nothing comes from elsewhere."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from urllib.parse import urlencode

import pytest
from fastapi.testclient import TestClient

from api.answers.source import Source
from api.routes import create_app
from api.routes.guard import LARGEST_BODY_BYTES
from api.store.stored_finding import State
from dashboards import addresses
from dashboards.figures import chart_library

WORN = "Lap <b>pool</b> 2"
HERE = "http://127.0.0.1:8620"


@pytest.fixture
def client(analysed: Source) -> Iterator[TestClient]:
    with TestClient(create_app(analysed), base_url=HERE) as client:
        yield client


@pytest.fixture
def number(analysed: Source) -> int:
    return analysed.api_store.findings(WORN, [State.ACTIVE])[0].finding_id


def every_page(number: int) -> list[str]:
    return [
        addresses.SITE,
        addresses.pump_address(WORN),
        addresses.pump_address("Fountain"),
        addresses.finding_address(number),
        addresses.WEEK,
        addresses.EXPLAINED,
        addresses.handover_address(WORN),
        addresses.documents_address(WORN),
        addresses.label_address(),
        "/api",
    ]


def test_every_page_answers(client: TestClient, number: int) -> None:
    answers = {page: client.get(page).status_code for page in every_page(number)}
    assert set(answers.values()) == {200}, answers


def test_no_page_names_anything_off_this_machine(client: TestClient, number: int) -> None:
    pattern = re.compile(r"""(?:src|href|action|data-source)=["']([^"']+)["']""")
    found = {
        (page, link)
        for page in every_page(number)
        for link in pattern.findall(client.get(page).text)
        if not link.startswith(("/", "#", "?"))
    }
    assert found == set()


def test_every_link_to_a_file_leads_to_one(client: TestClient, number: int) -> None:
    pattern = re.compile(r"""(?:src|href)=["'](/static/[^"']+)["']""")
    links = {link for page in every_page(number) for link in pattern.findall(client.get(page).text)}
    assert links
    assert {link: client.get(link).status_code for link in links} == dict.fromkeys(links, 200)


def test_names_with_markup_stay_text(client: TestClient, number: int) -> None:
    for page in every_page(number):
        text = client.get(page).text
        assert "<b>pool</b>" not in text
        assert "<i>baths</i>" not in text
    assert "Lap &lt;b&gt;pool&lt;/b&gt; 2" in client.get("/").text


@pytest.mark.parametrize(
    "address", ["/", "/api/site", "/static/page.css", "/nowhere", "/api/findings?limit=x"]
)
def test_every_answer_carries_the_safety_headers(client: TestClient, address: str) -> None:
    headers = client.get(address).headers
    assert headers["content-security-policy"].startswith("default-src 'none'; script-src 'self'")
    assert "unsafe-eval" not in headers["content-security-policy"]
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["cross-origin-opener-policy"] == "same-origin"
    assert headers["referrer-policy"] == "same-origin"


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1.evil.example", "", "[", "192.168.0.7:8620"])
def test_another_host_name_is_refused(client: TestClient, host: str) -> None:
    assert client.get("/", headers={"Host": host}).status_code == 400


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost:1", "[::1]:8620"])
def test_this_machines_own_names_are_served(client: TestClient, host: str) -> None:
    assert client.get("/health", headers={"Host": host}).status_code == 200


def acknowledge(client: TestClient, number: int, **headers: str) -> int:
    words = {"id": str(number), "role": "engineer", "note": "seen"}
    return client.post(addresses.ACKNOWLEDGE, data=words, headers=headers, follow_redirects=False).status_code


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Origin": "http://127.0.0.1:1"},
        {"Sec-Fetch-Site": "cross-site"},
    ],
    ids=str,
)
def test_another_web_page_cannot_change_anything(
    analysed: Source, client: TestClient, number: int, headers: dict[str, str]
) -> None:
    assert acknowledge(client, number, **headers) == 403
    stored = analysed.api_store.finding(number)
    assert stored is not None
    assert stored.acknowledged_utc_ms is None


@pytest.mark.parametrize("headers", [{}, {"Origin": HERE}], ids=["no browser", "own page"])
def test_our_own_page_and_a_program_can_acknowledge(
    analysed: Source, client: TestClient, number: int, headers: dict[str, str]
) -> None:
    assert acknowledge(client, number, **headers) == 303
    stored = analysed.api_store.finding(number)
    assert stored is not None
    assert stored.acknowledged_by == "engineer"
    assert analysed.api_store.changes(number)[-1].note == "seen"


def test_a_large_body_is_refused_by_its_stated_length(client: TestClient) -> None:
    body = b"x" * (LARGEST_BODY_BYTES + 1)
    assert client.post(addresses.ACKNOWLEDGE, content=body).status_code == 413


def test_a_large_body_without_a_stated_length_is_refused_too(client: TestClient) -> None:
    def lumps() -> Iterator[bytes]:
        for _ in range(20):
            yield b"x" * 8192

    assert client.post("/api/findings/1/acknowledge", content=lumps()).status_code == 413


@pytest.mark.parametrize(
    "path",
    [
        "/static/../pages/__init__.py",
        "/static/%2e%2e/views.py",
        "/static/..%2fviews.py",
        "/static/%00",
        "/static/....//views.py",
        "/static//etc/passwd",
    ],
)
def test_nothing_outside_the_folder_of_files_is_served(client: TestClient, path: str) -> None:
    assert client.get(path).status_code in (400, 404)


def test_the_chart_library_is_the_packages_own_and_kept_by_the_browser(client: TestClient) -> None:
    answer = client.get(addresses.PLOTLY)
    assert answer.content == chart_library().read_bytes()
    assert answer.headers["content-encoding"] == "gzip"
    assert "max-age" in answer.headers["cache-control"]
    again = client.get(addresses.PLOTLY, headers={"If-None-Match": answer.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")


def test_a_browser_without_compression_gets_the_chart_library_plain(client: TestClient) -> None:
    answer = client.get(addresses.PLOTLY, headers={"Accept-Encoding": "identity"})
    assert "content-encoding" not in answer.headers
    assert answer.content == chart_library().read_bytes()


def test_an_unknown_page_says_so_in_words_and_an_unknown_answer_in_json(client: TestClient) -> None:
    page, answer = client.get("/nowhere"), client.get("/api/nowhere")
    assert (page.status_code, page.headers["content-type"]) == (404, "text/html; charset=utf-8")
    assert (answer.status_code, answer.json()) == (404, {"detail": "Not Found"})


def test_a_pump_that_is_not_there_is_named_as_text(client: TestClient) -> None:
    answer = client.get(addresses.pump_address("<script>alert(1)</script>"))
    assert answer.status_code == 404
    assert "<script>alert" not in answer.text


def test_a_database_in_trouble_is_said_and_does_not_end_the_server(
    analysed: Source, client: TestClient
) -> None:
    path = analysed.site.path.with_suffix(".sqlite")
    analysed.close()
    path.rename(path.with_suffix(".away"))
    path.mkdir()
    answers = [client.get(address) for address in ("/", "/api/site", "/ready")]
    assert [answer.status_code for answer in answers] == [503, 503, 503]
    assert "site.sqlite" in answers[1].json()["detail"]
    assert client.get("/health").status_code == 200


def test_units_are_chosen_by_the_address_and_remembered(client: TestClient) -> None:
    address = addresses.pump_address("Lap pool 1")
    assert "gpm" not in client.get(address).text
    assert "gpm" in client.get(f"{address}&units=US").text
    assert "gpm" in client.get(address).text


def test_a_site_without_pumps_shows_how_to_begin(analysed: Source) -> None:
    site = analysed.site.model_copy(update={"pumps": (), "buses": ()})
    source = replace(analysed, site=site)
    with TestClient(create_app(source), base_url=HERE) as client:
        assert "No pumps yet" in client.get("/").text


def test_the_description_of_the_interface_names_every_address_of_it(client: TestClient) -> None:
    text = client.get("/api").text
    paths = client.get("/api/openapi.json").json()["paths"]
    assert {path for path in paths if path not in text} == set()


def test_live_names_every_pump_and_urlencoded_names_work(client: TestClient) -> None:
    assert set(client.get("/live").json()["pumps"]) == {"Lap pool 1", WORN, "Hot tub", "Fountain"}
    one = client.get(f"/live?{urlencode({'pump': WORN})}").json()
    assert set(one["pumps"]) == {WORN}
    assert set(one["now"]) == {"head", "power"}


def test_a_page_that_is_not_there_still_says_how_old_the_readings_are(client: TestClient) -> None:
    page = client.get("/nowhere")
    assert page.status_code == 404
    assert "There is no page at this address." in page.text
    assert "no readings yet" not in page.text
    assert "Data as of <strong" in page.text
    assert "2026" in page.text.split("as-of", 2)[2]
