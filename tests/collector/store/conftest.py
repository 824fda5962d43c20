"""A fresh store in a fresh folder."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from collector.store import Store, open_store


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "site.sqlite"


@pytest.fixture
def store(file: Path) -> Iterator[Store]:
    store = open_store(f"sqlite:///{file}")
    yield store
    store.close()
