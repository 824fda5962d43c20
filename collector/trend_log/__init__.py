"""Trend logs: CSV exports of readings somebody else recorded, taken whole or not at all."""

from __future__ import annotations

from collector.trend_log.errors import TrendLogError
from collector.trend_log.importing import import_trend_log, import_trend_logs
from collector.trend_log.options import (
    ColumnChoice,
    ColumnTrouble,
    ImportOptions,
    ImportReport,
    column_choice,
)

__all__ = [
    "ColumnChoice",
    "ColumnTrouble",
    "ImportOptions",
    "ImportReport",
    "TrendLogError",
    "column_choice",
    "import_trend_log",
    "import_trend_logs",
]
