"""A loss that a repair ended stays to be seen: older readings are drawn against the curve of their time."""

from __future__ import annotations

from api.analysis.site_pass import analyse_site
from api.analytics.facts import ServiceEvent
from api.answers.pictures import curve_picture
from api.answers.source import Source
from dashboards import figures

WORN = "Lap <b>pool</b> 2"
DAY_MS = 86_400_000


def middles(source: Source) -> list[float]:
    """Return the middle of each day's readings off the own curve [%], oldest first."""
    figure = figures.against_curve_figure(curve_picture(source, source.site.pump(WORN), "all", "SI"))
    return [float(row[1].replace("\N{MINUS SIGN}", "-")) for row in figure.table.rows]


def repair(source: Source, *days_before_the_end: int) -> list[int]:
    """Record work that begins a new baseline, so many days before the newest reading, and analyse."""
    end = source.store.span(WORN)
    assert end is not None
    times = [end[1] - days * DAY_MS for days in days_before_the_end]
    for time in times:
        event = ServiceEvent(time_utc_ms=time, kind="impeller_changed", new_baseline=True)
        source.api_store.add_event(WORN, event, "technician")
    analyse_site(source.site, source.store, source.api_store, source.clock)
    return times


def test_readings_before_the_work_stay_where_their_own_curve_put_them(analysed: Source) -> None:
    before = middles(analysed)
    repair(analysed, 4)
    after = middles(analysed)
    # The fleet's worn pump loses 6 % at once; what was drawn of the days before the work does not move.
    assert min(before) < -4.5
    assert after[:20] == before[:20]
    assert min(after) < -4.5


def test_a_baseline_too_short_for_a_curve_judges_nothing(analysed: Source) -> None:
    times = repair(analysed, 4, 3)
    picture = curve_picture(analysed, analysed.site.pump(WORN), "all", "SI")
    assert [until for until, _ in picture.earlier] == times
    assert picture.earlier[0][1]
    assert not picture.earlier[1][1]


def test_without_such_work_there_is_one_curve(analysed: Source) -> None:
    assert curve_picture(analysed, analysed.site.pump(WORN), "all", "SI").earlier == ()
