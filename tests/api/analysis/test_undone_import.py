"""An import that is undone leaves hours, curves and findings as if it had never been."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pandas as pd
import pytest

from api.analysis.frames import Tail
from api.analysis.site_pass import analyse_site
from api.answers.source import Source
from collector.quantities import QUANTITY_NAMES
from collector.reading import Source as ReadBy

SmallSite = Any

# As in the small site's makers.
START_MS, STEP_MS, DAYS, DAY_ROWS = 1_780_272_000_000, 300_000, 40, 288
PUMP = "Lap pool 1"


def analyse(source: Source, tails: dict[str, Tail] | None) -> None:
    analyse_site(source.site, source.store, source.api_store, source.clock, tails=tails)


def take(source: Source, first_row: int, count: int, shift_ms: int = 0) -> int:
    """Import rows of another pump: a mistake as it happens."""
    values = {"speed_rpm": 2900.0, "power_w": 700.0, "flow_m3h": 9.0, "head_m": 9.0}
    cells = [values.get(name) for name in QUANTITY_NAMES]
    with source.store.importing(PUMP) as session_of:
        session = session_of("mistaken.csv")
        session.add(
            [
                (START_MS + STEP_MS * row + shift_ms, session.pump_id, *cells, 0, int(ReadBy.IMPORTED))
                for row in range(first_row, first_row + count)
            ]
        )
        session.finish("sum", 1)
        return session.import_id


@pytest.mark.parametrize("following", [False, True])
@pytest.mark.parametrize(
    ("first_row", "shift_ms"),
    [(30 * DAY_ROWS, 150_000), (DAYS * DAY_ROWS, 0), (-3 * DAY_ROWS, 0)],
    ids=["between readings", "after the newest", "before the first"],
)
def test_after_an_undo_all_is_as_without_the_import(
    small_site: SmallSite,
    new_site: Callable[[str], Source],
    first_row: int,
    shift_ms: int,
    following: bool,
) -> None:
    source = new_site("mistaken")
    tails: dict[str, Tail] | None = {} if following else None
    small_site.fill(source.store, 0, DAYS * DAY_ROWS)
    analyse(source, tails)
    hours, curve = source.api_store.hours(PUMP), source.api_store.curve(PUMP, 0)
    number = take(source, first_row, 2 * DAY_ROWS, shift_ms)
    analyse(source, tails)
    assert not source.api_store.hours(PUMP).equals(hours)
    source.store.undo_import(number, 2)
    analyse(source, tails)
    pd.testing.assert_frame_equal(source.api_store.hours(PUMP), hours, rtol=1e-12)
    assert source.api_store.curve(PUMP, 0) == curve
