"""The history of a pump as a trend log: one CSV row a minute, as an operator's export would look."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from simulator.hall import LogUnits
from simulator.plant import Signals
from simulator.plant.arrays import FloatArray, TimeArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """A column: its heading, what is in it and in which unit, the factor to that unit, its decimals."""

    heading: str
    quantity: str
    unit: str = ""
    factor: float = 1.0
    decimals: int = 3


SI_COLUMNS: Final = tuple(
    Column(heading=name, quantity=name, unit=unit)
    for name, unit in (
        ("speed_rpm", "rpm"),
        ("power_w", "W"),
        ("flow_m3h", "m3/h"),
        ("head_m", "m"),
        ("fluid_temperature_c", "C"),
        ("drive_temperature_c", "C"),
        ("current_a", "A"),
        ("energy_kwh", "kWh"),
        ("run_time_h", "h"),
        ("starts", ""),
        ("speed_command_pct", "%"),
        ("status_word", ""),
        ("fault_code", ""),
    )
)
US_COLUMNS: Final = (
    Column(heading="Speed rpm", quantity="speed_rpm", unit="rpm"),
    Column(heading="Power kW", quantity="power_w", unit="kW", factor=1e-3, decimals=4),
    Column(heading="Flow gpm", quantity="flow_m3h", unit="gpm", factor=1000 / 3.785411784 / 60, decimals=2),
    Column(heading="Head ft", quantity="head_m", unit="ft", factor=1 / 0.3048, decimals=3),
    Column(heading="Energy kWh", quantity="energy_kwh", unit="kWh"),
    Column(heading="Starts", quantity="starts"),
    Column(heading="Fault", quantity="fault_code"),
)
TIME_HEADING: Final[Mapping[LogUnits, str]] = {"SI": "time_utc", "US": "Time UTC"}


def columns_of(units: LogUnits, signals: Signals) -> tuple[Column, ...]:
    """Return the columns of a log in these units; what the drive does not have has no column."""
    wanted = US_COLUMNS if units == "US" else SI_COLUMNS
    return tuple(column for column in wanted if not np.isnan(signals.reported[column.quantity]).all())


def write_trend_log(path: Path, times: TimeArray, signals: Signals, units: LogUnits) -> tuple[Column, ...]:
    """Write the log and return its columns; only times at which the drive answered have a row."""
    seen = signals.on_bus
    columns = columns_of(units, signals)
    cells = [_times(times[seen]), *(_cells(signals.reported[c.quantity][seen], c) for c in columns)]
    heading = ",".join([TIME_HEADING[units], *(column.heading for column in columns)])
    path.write_text("\n".join([heading, *map(",".join, zip(*cells, strict=True)), ""]), encoding="utf-8")
    return columns


def _times(times: TimeArray) -> Iterable[str]:
    stamps = np.datetime_as_string(times.astype("datetime64[ms]"), unit="s")
    return [f"{stamp}Z" for stamp in stamps.tolist()]


def _cells(values: FloatArray, column: Column) -> Iterable[str]:
    """Return the cells of a column. Readings come in steps, so few texts are made and most are reused."""
    few, place = np.unique(np.round(values * column.factor, column.decimals), return_inverse=True)
    texts = np.array(
        ["" if np.isnan(v) else f"{v:.{column.decimals}f}".rstrip("0").rstrip(".") for v in few.tolist()]
    )
    cells: list[str] = texts.astype(object)[place].tolist()
    return cells
