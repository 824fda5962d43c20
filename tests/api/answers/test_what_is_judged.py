"""A pump page says how much of the running hours could be judged, and where the own curve was learned."""

from __future__ import annotations

import numpy as np
import pytest

from api.analysis.pump_pass import curve_of
from api.analytics.curve import Curve
from api.analytics.not_assessable import judged_share
from api.answers.pages import pump_page
from api.answers.pictures import curve_picture
from api.answers.source import Source
from dashboards import figures, pages

HEALTHY, WORN, ESTIMATED, EMPTY = "Lap pool 1", "Lap <b>pool</b> 2", "Hot tub", "Fountain"


def curve(source: Source, pump: str) -> Curve:
    found = curve_of(source.api_store, source.facts(source.site.pump(pump)))
    assert found is not None
    return found


@pytest.mark.parametrize("pump", [HEALTHY, WORN])
def test_the_share_on_the_page_is_the_one_that_analysis_judged_by(analysed: Source, pump: str) -> None:
    facts = analysed.facts(analysed.site.pump(pump))
    known_until = analysed.store.span(pump)
    assert known_until is not None
    hours = analysed.api_store.hours(pump)
    # The newest hour is still open, and analysis waits for its end.
    closed = hours[hours.index < known_until[1] - known_until[1] % 3_600_000]
    expected = judged_share(closed, curve(analysed, pump), facts)
    assert pump_page(analysed, analysed.site.pump(pump)).row.assessable_share == expected
    assert expected > 0.9


def test_the_page_says_the_share_in_words(analysed: Source) -> None:
    found = pump_page(analysed, analysed.site.pump(HEALTHY))
    share = found.row.assessable_share
    assert share is not None
    assert f"{share * 100:.0f}\N{NO-BREAK SPACE}% of running hours" in pages.pump_page(found)


@pytest.mark.parametrize(("pump", "share"), [(ESTIMATED, 0.0), (EMPTY, None)])
def test_where_nothing_can_be_judged_no_share_is_claimed(
    analysed: Source, pump: str, share: float | None
) -> None:
    assert pump_page(analysed, analysed.site.pump(pump)).row.assessable_share == share


def test_the_region_drawn_is_where_the_curve_was_learned_and_nowhere_else(analysed: Source) -> None:
    own = curve(analysed, HEALTHY)
    picture = curve_picture(analysed, analysed.site.pump(HEALTHY), "all", "SI")
    assert len(picture.region) == len(own.cells.cells)
    for patch, (column, row) in zip(picture.region, own.cells.cells, strict=True):
        speed = np.exp((row + 0.5) * 0.06)
        flow = (column - 0.5) * own.cells.flow_step * speed
        assert own.cells.holds(flow, speed)
        assert patch.flow_m3h.min() <= flow <= patch.flow_m3h.max()


def test_the_picture_names_the_region_and_counts_the_hours(analysed: Source) -> None:
    picture = curve_picture(analysed, analysed.site.pump(HEALTHY), "all", "SI")
    assert "learned here" in [trace.get("name") for trace in figures.head_figure(picture).data]
    hours = curve(analysed, HEALTHY).hours
    assert f"learned from {hours} hours" in pages.pump_page(pump_page(analysed, analysed.site.pump(HEALTHY)))
