"""Whether a newly closed hour costs the same in a pump's tenth year as in its first.

    python -m tests.bench_slow_growth

Two real SQLite files hold hour rows of the same simulated pump, one year and ten, and readings of the last
days. Rounds go to and fro between them: the readings of one more hour, then a whole pass of the pump with all
that it reads and writes. Prints the median pass of each and the ratio; once for a healthy pump, once for one
whose loss has stood since its second month.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory

import numpy as np
import pandas as pd

from api.analysis.pump_pass import PumpMark, look_again
from api.analysis.write_result import Ends, write_result
from api.analytics.spans import DAY_MS, HOUR_MS
from api.store.api_store import ApiStore, open_api_store
from api.store.hour_rows import write_hours
from collector.quantities import QUANTITY_NAMES
from collector.reading import Reading
from collector.store import Store, open_store
from tests.fleet.cases import ONSET_DAY, START_UTC_MS, Case, hours_of, readings

ROUNDS = 40
YEARS = (1, 10)
DAYS_A_YEAR = 365


@dataclass
class Pump:
    """A pump in a file of its own, with the mark of its last pass and the readings still to come."""

    store: Store
    api_store: ApiStore
    case: Case
    coming: pd.DataFrame
    mark: PumpMark
    took_s: list[float]


def main() -> None:
    """Print the passes' times and their ratio."""
    for name, loss in (("healthy", 0.0), ("a loss that stands", 0.04)):
        with TemporaryDirectory() as folder, pumps(Path(folder), loss) as (young, old):
            for place in range(ROUNDS):
                for pump in (young, old) if place % 2 else (old, young):
                    one_hour(pump, place)
            first, tenth = (median(pump.took_s) * 1000 for pump in (young, old))
            held = [held_bytes(pump) for pump in (young, old)]
            ratios = [late / early for early, late in zip(young.took_s, old.took_s, strict=True)]
            low, high = np.quantile(ratios, (0.25, 0.75))
            print(
                f"{name:<20} year 1: {first:.1f} ms, year 10: {tenth:.1f} ms, ratio {tenth / first:.2f}"
                f" (quartiles {low:.2f} to {high:.2f}); held {held[0] // 1000} / {held[1] // 1000} kB",
                flush=True,
            )


@contextmanager
def pumps(folder: Path, loss: float) -> Iterator[list[Pump]]:
    """Give a pump of each age; the past is hour rows alone, since readings age out."""
    made = [pump_of(folder / f"{years}.sqlite", years, loss) for years in YEARS]
    try:
        yield made
    finally:
        for pump in made:
            pump.store.close()
            pump.api_store.close()


def pump_of(path: Path, years: int, loss: float) -> Pump:
    """Return a pump of this age whose past has been looked at."""
    fault = "impeller_wear" if loss else None
    case = Case(family="A", seed=4, days=years * DAYS_A_YEAR + ONSET_DAY, fault=fault, severity=loss)
    facts, hours = case.facts(), hours_of(case)
    frame = readings(case)
    url = f"sqlite:///{path}"
    store, api_store = open_store(url), open_api_store(url)
    start = START_UTC_MS + (case.days - 4) * DAY_MS
    with api_store.write() as connection:
        write_hours(connection, facts.pump, hours[hours.index < start])
    late = frame[(frame.index >= start) & (frame.index < start + DAY_MS)]
    coming = frame[frame.index >= start + DAY_MS]
    pump = Pump(store, api_store, case, coming, PumpMark(), [])
    for first in range(0, 24):
        take(pump, late[late.index // HOUR_MS * HOUR_MS == start + first * HOUR_MS])
    return pump


def held_bytes(pump: Pump) -> int:
    """Return how much is held of a pump's earlier days [bytes]."""
    held = pump.api_store.held(pump.case.facts().pump)
    return len(held.numbers) if held else 0


def one_hour(pump: Pump, place: int) -> None:
    """Let the next hour's readings come and time the pass that closes the hour before them."""
    first = int(pump.coming.index[0]) + place * HOUR_MS
    piece = pump.coming[(pump.coming.index >= first) & (pump.coming.index < first + HOUR_MS)]
    pump.took_s.append(take(pump, piece))


def take(pump: Pump, piece: pd.DataFrame) -> float:
    """Store these readings and return how long the pass took that looked at them [s]."""
    facts = pump.case.facts()
    pump.store.append(
        [
            _reading(facts.pump, time, row)
            for time, row in zip(piece.index, piece.to_dict("records"), strict=True)
        ]
    )
    touched = sorted({int(time) // HOUR_MS * HOUR_MS for time in piece.index})
    started = time_s()
    result = look_again(pump.store, pump.api_store, facts, pump.mark, touched)
    ends = Ends(reading_utc_ms=int(piece.index[-1]), scan_utc_ms=int(piece.index[-1]))
    write_result(pump.api_store, result, ends, int(piece.index[-1]))
    pump.mark = replace(result.mark)
    return time_s() - started


def _reading(pump: str, time_utc_ms: int, row: dict[str, float]) -> Reading:
    whole = ("starts", "status_word", "fault_code")
    known = {
        name: int(row[name]) if name in whole else float(row[name])
        for name in QUANTITY_NAMES
        if np.isfinite(row[name])
    }
    return Reading(pump=pump, time_utc_ms=int(time_utc_ms), **known)


def time_s() -> float:
    """Return the time [s]."""
    return time.perf_counter()


if __name__ == "__main__":
    main()
