"""The data sheet is shown until the pump has a curve of its own, corrected by it then, and judges nothing."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from api.analysis.site_pass import analyse_site
from api.analytics.finding import INFORMATION_KINDS
from api.answers.pages import pump_page
from api.answers.pictures import curve_picture
from api.answers.source import Source, open_source
from collector.site import Pump
from dashboards import figures, pages

# As in the small site's makers.
DAY_ROWS, DAYS = 288, 40
PUMP = "Lap pool 1"
SmallSite = Any
# The small site's pump is H = n² (2.4e-6 - 1.2e-2 (Q/n)²); the sheet promises 5 % more head at 2900 rpm.
FLOWS = (0.0, 15.0, 22.0, 30.0)
HEADS = tuple(1.05 * 2900**2 * (2.4e-6 - 1.2e-2 * (flow / 2900) ** 2) for flow in FLOWS)
POINTS = ", ".join(
    f"{{ flow_m3h = {flow}, head_m = {head:.4f} }}" for flow, head in zip(FLOWS, HEADS, strict=True)
)
SHEET = f"data_sheet = [{POINTS}]\n"


@pytest.fixture
def source(new_site: Callable[[str], Source], small_site: SmallSite) -> Iterator[Source]:
    empty = new_site("sheet")
    path = empty.site.path
    named = f'name = "{PUMP}"\n'
    path.write_text(path.read_text(encoding="utf-8").replace(named, named + SHEET), encoding="utf-8")
    found = open_source(path, small_site.clock_at_end())
    yield found
    found.close()


def pump(source: Source) -> Pump:
    return source.site.pump(PUMP)


def fill(source: Source, small_site: SmallSite, days: int) -> None:
    source.store.append(small_site.readings(PUMP, 0, days * DAY_ROWS, seed=1))
    analyse_site(source.site, source.store, source.api_store, source.clock)


def names(source: Source) -> list[str]:
    figure = figures.head_figure(curve_picture(source, pump(source), "all", "SI"))
    return [str(trace.get("name", "")) for trace in figure.data]


def test_with_too_few_hours_it_is_drawn_at_the_speeds_seen_and_marked_as_not_learned(
    source: Source, small_site: SmallSite
) -> None:
    fill(source, small_site, 2)
    picture = curve_picture(source, pump(source), "all", "SI")
    assert picture.lines == ()
    assert picture.data_sheet is not None
    low, high = picture.speed_rpm.min(), picture.speed_rpm.max()
    assert all(low <= speed <= high for speed in picture.data_sheet.speeds_rpm)
    assert sum(name.endswith("rpm, not learned") for name in names(source)) == len(
        picture.data_sheet.speeds_rpm
    )


def test_even_before_the_first_reading_it_is_drawn_at_rated_speed(source: Source) -> None:
    assert "data sheet at 2,900\N{NO-BREAK SPACE}rpm, not learned" in names(source)


def test_before_the_first_reading_the_power_picture_is_left_out(source: Source) -> None:
    figure = figures.power_figure(curve_picture(source, pump(source), "all", "SI"))
    assert figure.data == ()
    assert figure.caption == "No readings in this range, and no own curve yet."


def test_the_page_says_that_it_was_not_learned_and_judges_nothing(
    source: Source, small_site: SmallSite
) -> None:
    fill(source, small_site, 2)
    page = pages.pump_page(pump_page(source, pump(source)))
    assert "the data sheet's curve, not learned, and nothing is judged by it" in page.replace("&#39;", "'")


def test_a_pump_far_below_its_data_sheet_is_accused_of_nothing(source: Source, small_site: SmallSite) -> None:
    fill(source, small_site, 2)
    kinds = {item.finding.kind for item in source.api_store.findings(PUMP)}
    assert kinds <= INFORMATION_KINDS
    row = pump_page(source, pump(source)).row
    assert (row.head_against_curve, row.assessable_share) == (None, 0.0)


def test_once_learned_the_own_curve_is_drawn_and_the_sheet_is_only_beside_it(
    source: Source, small_site: SmallSite
) -> None:
    fill(source, small_site, DAYS)
    found = names(source)
    assert any(name.startswith("own curve at ") for name in found)
    assert "data sheet at 2,900\N{NO-BREAK SPACE}rpm" in found
    assert not any("not learned" in name for name in found)


def test_the_own_curve_says_by_how_much_it_corrects_the_sheet(source: Source, small_site: SmallSite) -> None:
    fill(source, small_site, DAYS)
    found = pump_page(source, pump(source))
    assert found.against_data_sheet == pytest.approx(1 / 1.05 - 1, abs=0.005)
    assert "of head against it at the usual duty" in pages.pump_page(found)


def test_nothing_is_compared_beyond_what_was_printed(source: Source, small_site: SmallSite) -> None:
    from api.analysis.pump_pass import curve_of
    from api.answers.data_sheet import against_data_sheet

    fill(source, small_site, DAYS)
    curve = curve_of(source.api_store, source.facts(pump(source)))
    assert curve is not None
    far = replace(curve, typical_flow_m3h=curve.typical_flow_m3h * 3)
    assert against_data_sheet(pump(source), far) is None


def test_a_printed_curve_goes_with_speed_as_the_affinity_laws_say(
    source: Source, small_site: SmallSite
) -> None:
    # Flow goes with speed and head with its square: affinity laws, as in EPANET's pump with relative speed.
    fill(source, small_site, 2)
    picture = curve_picture(source, pump(source), "all", "SI")
    assert picture.data_sheet is not None
    speed = picture.data_sheet.speeds_rpm[0]
    trace = next(
        each
        for each in figures.head_figure(picture).data
        if str(each.get("name", "")).startswith("data sheet at ")
    )
    assert trace["x"] == pytest.approx([flow * speed / 2900 for flow in FLOWS], rel=1e-4)
    assert trace["y"] == pytest.approx([head * (speed / 2900) ** 2 for head in HEADS], rel=1e-4)


def test_a_sheet_without_power_draws_none(source: Source, small_site: SmallSite) -> None:
    fill(source, small_site, 2)
    figure = figures.power_figure(curve_picture(source, pump(source), "all", "SI"))
    assert not any("data sheet" in str(trace.get("name", "")) for trace in figure.data)
    assert "data sheet" not in figure.caption


def test_the_picture_of_readings_against_the_curve_takes_no_data_sheet(
    source: Source, small_site: SmallSite
) -> None:
    fill(source, small_site, 2)
    figure = figures.against_curve_figure(curve_picture(source, pump(source), "all", "SI"))
    assert figure.data == ()


def test_points_in_any_order_are_drawn_in_order_of_flow(source: Source) -> None:
    mixed = pump(source).model_copy(update={"data_sheet": tuple(reversed(pump(source).data_sheet))})
    picture = curve_picture(source, mixed, "all", "SI")
    assert picture.data_sheet is not None
    assert np.all(np.diff(picture.data_sheet.flow_m3h) > 0)
