"""Eight weeks of trend logs into the demonstration's database, the way a user would import them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from api.demo.hall_site import simulated_name
from collector.site import load_site
from collector.store import open_store
from collector.trend_log import ColumnChoice, ImportOptions, import_trend_log


def import_history(site_file: Path, history: Mapping[str, Any], tell: Callable[[str], None]) -> int:
    """Import the trend log of each pump; return the number of new readings.

    ``history`` is the simulator's ``history`` event: the folder, and each pump's file, time column and
    the quantity and unit of its other columns.
    """
    site = load_site(site_file)
    store = open_store(site.database_url)
    rows = 0
    try:
        for pump in site.pumps:
            tell(f"history of {pump.name}")
            file = history["files"][simulated_name(pump.name)]
            path = Path(history["folder"]) / file["file"]
            rows += import_trend_log(store, pump.name, path, _options(file)).rows_new
    finally:
        store.close()
    return rows


def _options(file: Mapping[str, Any]) -> ImportOptions:
    columns = tuple(
        ColumnChoice(quantity=quantity, source=f"{heading}:{unit}" if unit else heading)
        for heading, (quantity, unit) in file["quantities"].items()
    )
    return ImportOptions(time_column=file["time"], columns=columns)
