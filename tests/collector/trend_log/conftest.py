"""A store, and trend logs written from text."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from collector.store import Store, open_store
from collector.trend_log import ImportOptions, ImportReport, import_trend_log

Take = Callable[..., ImportReport]


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    store = open_store(f"sqlite:///{tmp_path / 'site.sqlite'}")
    yield store
    store.close()


@pytest.fixture
def take(store: Store, tmp_path: Path) -> Take:
    """Write a text (or bytes) as a file and import it for P01."""

    def write_and_import(content: str | bytes, options: ImportOptions | None = None) -> ImportReport:
        path = tmp_path / "log.csv"
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return import_trend_log(store, "P01", path, options or ImportOptions())

    return write_and_import
