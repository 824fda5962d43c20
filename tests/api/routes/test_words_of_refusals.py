"""A request that cannot be right is refused in the reader's words, not in those of the library."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from fastapi.testclient import TestClient

from api.answers.source import Source
from api.routes import create_app


@pytest.fixture
def client(analysed: Source) -> Iterator[TestClient]:
    app = create_app(analysed)
    with TestClient(app, base_url="http://127.0.0.1:8620") as client:
        yield client
    app.state.desk.close()


@pytest.mark.parametrize(
    ("address", "words"),
    [
        ("/pump", "name is missing"),
        ("/pump?name=a%01b", "name holds a control character"),
        ("/finding?id=0", "id should be greater than or equal to 1"),
        ("/api/findings?limit=0", "limit should be greater than or equal to 1"),
    ],
)
def test_a_request_is_refused_by_the_name_it_used(client: TestClient, address: str, words: str) -> None:
    answer = client.get(address)
    assert answer.status_code == 422
    assert words in answer.text
    assert "query." not in answer.text
    assert "Value error" not in answer.text


def test_a_role_that_is_none_is_refused_with_all_roles(client: TestClient) -> None:
    answer = client.post(
        "/finding/acknowledge", data={"id": "1", "role": "owner"}, headers={"origin": "http://127.0.0.1:8620"}
    )
    assert answer.status_code == 422
    assert "role is no role; there are: technician, engineer, manager" in answer.text
