"""Readings on disk: one SQLite file a site, whole transactions, nothing ever updated.

``open_store(url)`` gives a :class:`Store`; :class:`StoreError` is what it raises.
"""

from __future__ import annotations

from collector.store.errors import StoreError, StoreFull, StoreLocked
from collector.store.imports import ImportRecord, ImportSession, SetAside
from collector.store.journal import HOUR_MS, Touched, hour_of
from collector.store.store import Store, StoreSink, open_store

__all__ = [
    "HOUR_MS",
    "ImportRecord",
    "ImportSession",
    "SetAside",
    "Store",
    "StoreError",
    "StoreFull",
    "StoreLocked",
    "StoreSink",
    "Touched",
    "hour_of",
    "open_store",
]
