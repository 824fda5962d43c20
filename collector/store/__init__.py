"""Readings on disk: one SQLite file a site, whole transactions, no value ever overwritten.

``open_store(url)`` gives a :class:`Store`; :class:`StoreError` is what it raises.
"""

from __future__ import annotations

from collector.store.errors import CannotUndo, StoreError, StoreFull, StoreLocked
from collector.store.imports import ImportRecord, ImportSession, SetAside
from collector.store.journal import HOUR_MS, Touched, hour_of
from collector.store.store import Store, StoreSink, open_store
from collector.store.undo import Undone

__all__ = [
    "HOUR_MS",
    "CannotUndo",
    "ImportRecord",
    "ImportSession",
    "SetAside",
    "Store",
    "StoreError",
    "StoreFull",
    "StoreLocked",
    "StoreSink",
    "Touched",
    "Undone",
    "hour_of",
    "open_store",
]
