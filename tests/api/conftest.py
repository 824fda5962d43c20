"""A small site with forty days of readings, made once and copied for each test that may change it.

The readings follow a formula of their own here, not the program's: a pump, a system, day and night.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import numpy as np
import pytest

from api.analysis.site_pass import analyse_site
from api.answers.source import Source, open_source
from collector.clock import Clock
from collector.reading import Reading
from collector.store import Store, open_store

START_MS = 1_780_272_000_000
"""2026-06-01T00:00Z, a Monday."""
STEP_MS = 300_000
DAYS = 40
LONGEST_DAYS = 60
DAY_ROWS = 288
WORN_FROM_DAY = 31
DAY_MS = 86_400_000

SITE = """
[site]
name = "Harbour <i>baths</i>"
time_zone = "Europe/Lisbon"
units = "SI"
price_per_kwh = 0.2
currency = "EUR"

[[pump]]
name = "Lap pool 1"
location = "cellar"
rated_speed_rpm = 2900
interval_s = 300
provenance = { speed = "measured", power = "measured", flow = "measured", head = "measured" }

[[pump]]
name = "Lap <b>pool</b> 2"
rated_speed_rpm = 2900
interval_s = 300
provenance = { speed = "measured", power = "measured", flow = "measured", head = "measured" }

[[pump]]
name = "Hot tub"
provenance = { speed = "measured", power = "measured", flow = "estimated", head = "estimated" }

[[pump]]
name = "Fountain"
"""


def readings(pump: str, first_row: int, rows: int, *, seed: int, loss_from_day: float = 1e9) -> list[Reading]:
    """Return readings of a pump that runs all day, faster by day; from a day on it has lost 6 %."""
    place = np.arange(first_row, first_row + rows)
    days = place / DAY_ROWS
    speed = 2200 + 400 * np.sin(2 * np.pi * days) + 60 * np.sin(2 * np.pi * days * 5.3 + seed)
    opening = 1 + 0.15 * np.sin(2 * np.pi * days * 3.1 + seed)
    ratio = 0.0075 * opening
    left = np.where(days >= loss_from_day, 0.94, 1.0)
    head = speed**2 * (2.4e-6 - 1.2e-2 * ratio**2) * left
    flow = ratio * speed
    power = 9.2e-8 * speed**3 * (0.5 + 0.5 * opening) * left + 40
    # Drawn for all days at once, so that a reading is the same however they are asked for.
    drawn = np.random.default_rng(seed).standard_normal((3, LONGEST_DAYS * DAY_ROWS))
    wiggle = 1 + 0.003 * drawn[:, place]
    return [
        Reading(
            pump=pump,
            time_utc_ms=START_MS + int(row) * STEP_MS,
            speed_rpm=round(float(n), 1),
            flow_m3h=round(float(q), 3),
            head_m=round(float(h), 4),
            power_w=round(float(p), 2),
            fault_code=0,
        )
        for row, n, q, h, p in zip(
            place, speed, flow * wiggle[0], head * wiggle[1], power * wiggle[2], strict=True
        )
    ]


def fill(store: Store, first_row: int, rows: int) -> None:
    """Put readings of the three pumps that have any into the store."""
    store.append(readings("Lap pool 1", first_row, rows, seed=1))
    store.append(readings("Lap <b>pool</b> 2", first_row, rows, seed=2, loss_from_day=WORN_FROM_DAY))
    store.append(readings("Hot tub", first_row, rows, seed=3))


def clock_at_end() -> Clock:
    """Return a clock that stands, as near as may be, a minute after the last reading."""
    end = START_MS + DAYS * DAY_MS
    return Clock(simulated_start_ms=end, real_start_ms=0, speed_up=1e-9)


class SmallSite:
    """What a test needs to give the site more readings."""

    fill = staticmethod(fill)
    readings = staticmethod(readings)
    clock_at_end = staticmethod(clock_at_end)


@pytest.fixture
def small_site() -> SmallSite:
    """Return the makers of the small site's readings (test files cannot import one another)."""
    return SmallSite()


@pytest.fixture(scope="session")
def analysed_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with the site's file and its database, filled and analysed. Not to be changed."""
    folder = tmp_path_factory.mktemp("analysed")
    (folder / "site.toml").write_text(SITE, encoding="utf-8")
    store = open_store(f"sqlite:///{folder / 'site.sqlite'}")
    fill(store, 0, DAYS * DAY_ROWS)
    store.close()
    source = open_source(folder / "site.toml", clock_at_end())
    analyse_site(source.site, source.store, source.api_store, source.clock)
    source.close()
    return folder


@pytest.fixture
def analysed(analysed_folder: Path, tmp_path: Path) -> Iterator[Source]:
    """Return the analysed site, in a copy of its own."""
    folder = tmp_path / "copy"
    shutil.copytree(analysed_folder, folder)
    source = open_source(folder / "site.toml", clock_at_end())
    yield source
    source.close()


@pytest.fixture
def new_site(tmp_path: Path) -> Iterator[Callable[[str], Source]]:
    """Return a function that makes the same site without a reading, in a folder of that name."""
    with ExitStack() as stack:

        def make(name: str) -> Source:
            folder = tmp_path / name
            folder.mkdir()
            (folder / "site.toml").write_text(SITE, encoding="utf-8")
            source = open_source(folder / "site.toml", clock_at_end())
            stack.callback(source.close)
            return source

        yield make
