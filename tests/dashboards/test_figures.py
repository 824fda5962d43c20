from __future__ import annotations

import json
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import plotly.graph_objects as go
import pytest

from dashboards import figures
from dashboards.figures.against_curve import expected_head_m
from dashboards.figures.plot import MOST_POINTS
from dashboards.views import CurvePicture, ServiceMark, TrendSeries

SCHEMES = ("light", "dark")


def every_figure(
    invented: SimpleNamespace, scheme: figures.Scheme = "light", **more: object
) -> list[figures.Figure]:
    return [
        figures.head_figure(invented.curve_picture(**more), scheme),
        figures.power_figure(invented.curve_picture(**more), scheme),
        figures.against_curve_figure(invented.curve_picture(**more), scheme),
        figures.trend_figure(invented.trend_picture(**more), scheme),
        figures.energy_figure(invented.energy_picture(**more), scheme),
    ]


def trace(figure: figures.Figure, name: str) -> dict[str, object]:
    return next(each for each in figure.data if each.get("name") == name)


@pytest.mark.parametrize("scheme", SCHEMES)
def test_every_figure_is_what_the_chart_library_accepts(
    invented: SimpleNamespace, scheme: figures.Scheme
) -> None:
    # The library's own Python classes check each key and value against its published schema.
    for figure in every_figure(invented, scheme):
        go.Figure(data=list(figure.data), layout=figure.layout)


def test_every_figure_is_plain_json_without_nan(invented: SimpleNamespace) -> None:
    for figure in every_figure(invented):
        assert json.loads(json.dumps(figure.answer(), allow_nan=False))["caption"]


def test_no_trace_holds_more_points_than_a_reader_can_see(invented: SimpleNamespace) -> None:
    many = MOST_POINTS * 3 + 1
    drawn = [
        figures.head_figure(invented.curve_picture(points=many)),
        figures.trend_figure(invented.trend_picture(points=many)),
    ]
    assert max(len(each["x"]) for figure in drawn for each in figure.data) <= MOST_POINTS


def test_a_gap_in_the_readings_is_a_gap_in_the_line(invented: SimpleNamespace) -> None:
    line = trace(figures.trend_figure(invented.trend_picture()), "Flow")
    assert line["connectgaps"] is False
    assert None in line["y"]  # type: ignore[operator]


def test_the_curve_is_drawn_through_the_law_it_was_given(invented: SimpleNamespace) -> None:
    # Affinity laws (ISO 9906; any pump handbook): at n2, the point (Q n2/n1, H (n2/n1)²) lies on the curve.
    lines = [
        each
        for each in figures.head_figure(invented.curve_picture()).data
        if "own curve" in each.get("name", "")
    ]
    slow, fast = lines[0], lines[2]
    ratio = 2400 / 1700
    expected = np.interp(10 * ratio, fast["x"], np.array(fast["y"], dtype=float))
    at_slow = np.interp(10, slow["x"], np.array(slow["y"], dtype=float))
    assert at_slow * ratio**2 == pytest.approx(expected, rel=2e-3)


def test_where_the_curve_was_not_learned_it_is_only_carried_on_faintly(invented: SimpleNamespace) -> None:
    figure = figures.head_figure(invented.curve_picture())
    own = next(each for each in figure.data if "own curve" in each.get("name", ""))
    assert own["y"][0] is None
    carried = next(each for each in figure.data if each["x"] == own["x"] and None not in each["y"])
    assert carried["line"]["width"] < own["line"]["width"]


def test_each_speed_has_a_dash_of_its_own_and_its_name_at_the_end(invented: SimpleNamespace) -> None:
    figure = figures.head_figure(invented.curve_picture())
    dashes = [each["line"]["dash"] for each in figure.data if "own curve" in each.get("name", "")]
    assert len(set(dashes)) == len(dashes) == 3
    assert [note["text"] for note in figure.layout["annotations"]] == [
        "1,700\u00a0rpm",
        "2,050\u00a0rpm",
        "2,400\u00a0rpm",
    ]


def test_us_units_reach_the_axes_and_the_numbers(invented: SimpleNamespace) -> None:
    si, us = (figures.head_figure(invented.curve_picture(units=units)) for units in ("SI", "US"))
    assert us.layout["xaxis"]["title"]["text"] == "Flow, gpm"
    # NIST SP 811, appendix B: 1 ft is 0.3048 m.
    assert trace(si, "now")["y"][0] == pytest.approx(0.3048 * trace(us, "now")["y"][0], rel=1e-4)  # type: ignore[index]


def test_the_live_dot_is_always_there_to_be_moved(invented: SimpleNamespace) -> None:
    dot = trace(figures.head_figure(invented.curve_picture(now=None)), "now")
    assert dot["meta"] == "now"
    assert dot["x"] == []


def test_the_caption_says_how_far_the_pump_is_off_its_curve_now(invented: SimpleNamespace) -> None:
    assert "against its own curve" in figures.head_figure(invented.curve_picture()).caption


def test_the_caption_keeps_silent_at_a_speed_without_a_curve(invented: SimpleNamespace) -> None:
    now = replace(invented.curve_picture().now, speed_rpm=2250)
    assert "against its own curve" not in figures.head_figure(invented.curve_picture(now=now)).caption


def test_estimated_readings_say_that_wear_cannot_show(invented: SimpleNamespace) -> None:
    assert "wear can't show" in figures.head_figure(invented.curve_picture(is_estimated=True)).caption


def test_without_readings_and_curve_the_picture_says_so(invented: SimpleNamespace) -> None:
    empty = np.array([])
    picture = CurvePicture(
        pump="P01", units="SI", time_zone="UTC", time_utc_ms=empty.astype(np.int64),
        speed_rpm=empty, flow_m3h=empty, head_m=empty, power_w=empty,
    )  # fmt: skip
    assert figures.head_figure(picture).data == ()
    assert "No readings" in figures.head_figure(picture).caption


def test_a_trend_of_nothing_says_so(invented: SimpleNamespace) -> None:
    series = TrendSeries(quantity="head_m", time_utc_ms=np.array([0]), value=np.array([np.nan]))
    assert (
        figures.trend_figure(invented.trend_picture(series=(series,))).caption == "No readings in this range."
    )


def test_an_active_finding_reaches_the_end_of_the_picture(invented: SimpleNamespace) -> None:
    figure = figures.trend_figure(invented.trend_picture())
    bars = {each["meta"]: each["x"] for each in figure.data if "meta" in each}
    end = figure.layout["xaxis"]["range"][1]
    assert bars["finding head_loss"][1] == end
    assert bars["finding air_binding"][1] < end


def test_information_casts_no_shade_over_the_readings(invented: SimpleNamespace) -> None:
    spans = tuple(replace(each, priority="information") for each in invented.trend_picture().findings)
    figure = figures.trend_figure(invented.trend_picture(findings=spans, services=()))
    assert figure.layout["shapes"] == []


def test_low_and_high_of_a_bucket_are_drawn_so_that_a_spike_stays_visible(invented: SimpleNamespace) -> None:
    time = np.arange(10, dtype=np.int64) * 3_600_000 + invented.NOW_MS - 10 * 3_600_000
    high = np.full(10, 8.0)
    high[4] = 99.0
    series = TrendSeries(
        quantity="head_m", time_utc_ms=time, value=np.full(10, 8.0), low=np.full(10, 7.9), high=high
    )
    figure = figures.trend_figure(invented.trend_picture(series=(series,)))
    assert any(99.0 in each["y"] for each in figure.data if "meta" not in each)


def test_a_week_that_is_not_whole_is_hatched(invented: SimpleNamespace) -> None:
    bars = figures.energy_figure(invented.energy_picture()).data[0]
    assert bars["marker"]["pattern"]["shape"] == ["", "", "", "/", "", "", "", "/"]


def test_a_week_without_a_ratio_is_left_out_of_the_bars_and_kept_in_the_table(
    invented: SimpleNamespace,
) -> None:
    weeks = (*invented.weeks(), replace(invented.weeks()[0], kwh_per_m3=None, volume_m3=None))
    figure = figures.energy_figure(invented.energy_picture(weeks=weeks))
    assert len(figure.data[0]["x"]) == 8
    assert len(figure.table.rows) == 9


def test_markup_in_a_name_stays_text(invented: SimpleNamespace) -> None:
    marks = (ServiceMark(time_utc_ms=invented.NOW_MS - 3_600_000, kind="<a href=x>vent</a>"),)
    figure = figures.trend_figure(invented.trend_picture(services=marks))
    assert "<a" not in json.dumps(figure.layout)


def noted(invented: SimpleNamespace, hours_before_the_end: float) -> list[str]:
    """Return at which side of its line the note of a work stands, on the picture of a week."""
    time = invented.NOW_MS - round(hours_before_the_end * invented.HOUR_MS)
    marks = (ServiceMark(time_utc_ms=time, kind="ring_replaced"),)
    pictures = [
        figures.trend_figure(invented.trend_picture(services=marks)),
        figures.against_curve_figure(invented.curve_picture(services=marks)),
    ]
    notes = [note for each in pictures for note in each.layout["annotations"] if "✚" in note["text"]]
    return [note["xanchor"] for note in notes]


@pytest.mark.parametrize(("hours", "side"), [(1, "right"), (84, "center"), (167, "left")])
def test_words_about_work_near_an_end_stand_on_the_inner_side_of_their_line(
    invented: SimpleNamespace, hours: float, side: str
) -> None:
    assert noted(invented, hours) == [side, side]


def test_words_about_work_lie_below_the_legend_of_the_comparison(invented: SimpleNamespace) -> None:
    marks = (ServiceMark(time_utc_ms=invented.NOW_MS, kind="vented"),)
    layout = figures.against_curve_figure(invented.curve_picture(services=marks)).layout
    [note] = [each for each in layout["annotations"] if "✚" in each["text"]]
    assert (note["y"], note["yanchor"]) == (1, "top")


def test_a_table_is_as_wide_as_its_header(invented: SimpleNamespace) -> None:
    for figure in every_figure(invented):
        assert figure.table.rows
        assert {len(row) for row in figure.table.rows} == {len(figure.table.columns)}


def test_the_chart_library_comes_from_the_installed_package() -> None:
    assert figures.chart_library().read_bytes()[:200].count(b"plotly.js")


def test_the_expected_head_obeys_the_affinity_laws_at_any_speed(invented: SimpleNamespace) -> None:
    # Affinity laws: flow goes with speed, head with its square; the invented pump is such a pump.
    speed = np.array([1500.0, 1875.0, 2222.0, 2600.0])
    flow = speed / 2400 * 14
    expected = expected_head_m(invented.curve_picture().lines, flow, speed)
    assert expected == pytest.approx(1.75e-6 * speed**2 - 0.0102 * flow**2, rel=1e-3)


def test_beyond_the_drawn_line_no_head_is_expected(invented: SimpleNamespace) -> None:
    lines = invented.curve_picture().lines
    assert np.isnan(expected_head_m(lines, np.array([40.0]), np.array([2400.0])))[0]


def test_a_growing_loss_is_seen_as_a_slope_of_its_size(invented: SimpleNamespace) -> None:
    # The invented readings lose 1.2 % at the start of the week and 4.1 % at its end.
    middle = trace(figures.against_curve_figure(invented.curve_picture()), "middle")["y"]
    assert middle[0] == pytest.approx(-1.2, abs=0.6)  # type: ignore[index]
    assert middle[-1] == pytest.approx(-4.1, abs=0.6)  # type: ignore[index]


def test_readings_outside_what_was_learned_are_drawn_apart_and_not_judged(invented: SimpleNamespace) -> None:
    picture = invented.curve_picture()
    lines = tuple(replace(line, learned=np.zeros_like(line.learned)) for line in picture.lines)
    figure = figures.against_curve_figure(replace(picture, lines=lines))
    assert set(trace(figure, "readings")["y"]) == {None}  # type: ignore[call-overload]
    assert trace(figure, "middle")["y"] == []
    assert "none lies where the curve was learned" in figure.caption


def test_a_reading_is_held_against_the_curve_of_its_time(invented: SimpleNamespace) -> None:
    picture = invented.curve_picture()
    half = int(picture.time_utc_ms[len(picture.time_utc_ms) // 2])
    doubled = tuple(replace(line, head_m=2 * line.head_m) for line in picture.lines)
    figure = figures.against_curve_figure(replace(picture, earlier=((half, doubled),)))
    middle = trace(figure, "middle")["y"]
    assert middle[0] == pytest.approx(-50.6, abs=0.6)  # type: ignore[index]
    assert middle[-1] == pytest.approx(-4.1, abs=0.6)  # type: ignore[index]
    assert "before work that began a new baseline, against the curve of that time" in figure.caption


def test_where_a_baseline_never_had_a_curve_nothing_is_drawn_of_its_time(invented: SimpleNamespace) -> None:
    picture = invented.curve_picture()
    half = int(picture.time_utc_ms[len(picture.time_utc_ms) // 2])
    figure = figures.against_curve_figure(replace(picture, earlier=((half, ()),)))
    drawn = trace(figure, "readings")["y"]
    assert drawn[0] is None  # type: ignore[index]
    assert drawn[-1] is not None  # type: ignore[index]


def test_while_a_new_curve_is_learned_the_earlier_one_is_still_drawn(invented: SimpleNamespace) -> None:
    picture = invented.curve_picture()
    half = int(picture.time_utc_ms[len(picture.time_utc_ms) // 2])
    figure = figures.against_curve_figure(replace(picture, lines=(), earlier=((half, picture.lines),)))
    assert trace(figure, "middle")["y"]


def test_the_newest_middle_is_told_with_how_long_it_covers(invented: SimpleNamespace) -> None:
    assert "in the middle of its newest day" in figures.against_curve_figure(invented.curve_picture()).caption


def test_with_estimated_flow_or_head_no_comparison_is_drawn(invented: SimpleNamespace) -> None:
    figure = figures.against_curve_figure(invented.curve_picture(is_estimated=True))
    assert figure.data == ()
    assert "can't show wear" in figure.caption


def test_a_year_of_episodes_stays_one_trace_with_gaps(invented: SimpleNamespace) -> None:
    hour = invented.HOUR_MS
    first = invented.trend_picture().findings[1]
    spans = tuple(
        replace(first, identity=place, first_utc_ms=start, last_utc_ms=start + hour // 4)
        for place in range(300)
        if (start := invented.NOW_MS - (place + 1) * hour // 2)
    )
    figure = figures.trend_figure(invented.trend_picture(findings=spans))
    bars = [each for each in figure.data if "meta" in each]
    assert len(bars) == 1
    assert bars[0]["x"].count(None) == 300
    assert len(figure.layout["shapes"]) < 50


def test_the_own_curves_label_stands_beside_the_readings_and_not_over_them(
    invented: SimpleNamespace,
) -> None:
    layout = figures.against_curve_figure(invented.curve_picture()).layout
    (label,) = [note for note in layout["annotations"] if "own" in note["text"]]
    assert (label["x"], label["xref"], label["xanchor"]) == (1, "paper", "left")
    assert layout["margin"]["r"] >= 40
