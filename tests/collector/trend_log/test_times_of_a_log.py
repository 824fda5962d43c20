"""A time in a log becomes one instant, or is set aside; it is never guessed."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import pytest

from collector.store import Store
from collector.trend_log import ImportOptions, ImportReport, TrendLogError
from collector.trend_log.time_forms import forms_that_fit

Take = Callable[..., ImportReport]
END = 10**15
LISBON = ImportOptions(time_zone="Europe/Lisbon")


def times(store: Store) -> list[str]:
    return [
        datetime.fromtimestamp(row[0] / 1000, UTC).strftime("%m-%dT%H:%M:%S")
        for row in store.rows("P01", 0, END, [])
    ]


def log(*moments: str, header: str = "time") -> str:
    return f"{header},head_m\n" + "".join(f"{moment},{6 + number}\n" for number, moment in enumerate(moments))


@pytest.mark.parametrize(
    ("moment", "utc"),
    [
        ("2026-03-01T14:05:00Z", "03-01T14:05:00"),
        ("2026-03-01T14:05:00+01:00", "03-01T13:05:00"),
        ("2026-03-01 14:05-05:00", "03-01T19:05:00"),
        ("2026-03-01T14:05:07.5+00:00", "03-01T14:05:07"),
        (" 2026-03-01T14:05:00Z ", "03-01T14:05:00"),
        ("2024-02-29T23:59:59Z", "02-29T23:59:59"),
        ("2025-12-31T23:30:00-01:00", "01-01T00:30:00"),
    ],
)
def test_an_iso_time_with_its_offset_needs_nothing_said(
    store: Store, take: Take, moment: str, utc: str
) -> None:
    take(log(moment))
    assert times(store) == [utc]


def test_milliseconds_are_kept(store: Store, take: Take) -> None:
    take(log("2026-03-01T00:00:00.123Z"))
    assert store.rows("P01", 0, END, [])[0][0] % 1000 == 123


@pytest.mark.parametrize(
    "header",
    [
        "time",
        "Time",
        "timestamp",
        "TIMESTAMP",
        "date",
        "DateTime",
        "Date Time",
        "time_utc",
        "Time UTC",
        "UTC",
    ],
)
def test_the_time_column_is_known_by_its_name(store: Store, take: Take, header: str) -> None:
    take(log("2026-03-01T14:05:00Z", header=header))
    assert times(store) == ["03-01T14:05:00"]


def test_a_time_column_of_another_name_can_be_named(store: Store, take: Take) -> None:
    take(log("2026-03-01T14:05:00Z", header="Logged at"), ImportOptions(time_column="Logged at"))
    assert times(store) == ["03-01T14:05:00"]


def test_a_date_and_a_time_of_day_are_one_time(store: Store, take: Take) -> None:
    take("Date,Time,head_m\n2026-07-01,14:05,6\n", LISBON)
    assert times(store) == ["07-01T13:05:00"]


def test_two_columns_can_be_named_as_one_time(store: Store, take: Take) -> None:
    take("Day,Clock,head_m\n2026-07-01,14:05,6\n", ImportOptions(time_zone="UTC", time_column="Day+Clock"))
    assert times(store) == ["07-01T14:05:00"]


@pytest.mark.parametrize("header", ["Logged at,head_m", "date,timestamp,head_m"])
def test_no_or_several_time_columns_are_asked_for(take: Take, header: str) -> None:
    with pytest.raises(TrendLogError, match=r"log\.csv, line 1: .* name it with --time, one of: "):
        take(f"{header}\n")


def test_a_missing_time_column_names_the_nearest(take: Take) -> None:
    with pytest.raises(TrendLogError, match="did you mean 'Logged at'"):
        take(log("2026-03-01T14:05:00Z", header="Logged at"), ImportOptions(time_column="logged at"))


def test_a_time_without_offset_is_refused_by_its_line(store: Store, take: Take) -> None:
    with pytest.raises(
        TrendLogError, match=r"log\.csv, line 3: the time '2026-03-01 14:10' has no offset .* --tz"
    ):
        take(log("2026-03-01T14:05:00Z", "2026-03-01 14:10"))
    assert store.pump_names() == ()


def test_a_time_without_offset_is_taken_in_the_stated_zone(store: Store, take: Take) -> None:
    take(log("2026-01-01 12:00", "2026-07-01 12:00"), LISBON)
    assert times(store) == ["01-01T12:00:00", "07-01T11:00:00"]


def test_an_offset_in_the_file_goes_before_the_stated_zone(store: Store, take: Take) -> None:
    take(log("2026-07-01T12:00:00+05:00"), LISBON)
    assert times(store) == ["07-01T07:00:00"]


@pytest.mark.parametrize("header", ["time_utc", "Timestamp (UTC)", "Time UTC"])
def test_a_column_that_says_utc_is_utc(store: Store, take: Take, header: str) -> None:
    take(log("2026-07-01 12:00", header=header))
    assert times(store) == ["07-01T12:00:00"]


def test_utc_goes_before_local_time_in_a_log_with_both(store: Store, take: Take) -> None:
    take("Time,Time UTC,head_m\n2026-07-01 13:00,2026-07-01 12:00,6\n")
    assert times(store) == ["07-01T12:00:00"]


def test_an_unknown_zone_is_refused(take: Take) -> None:
    with pytest.raises(TrendLogError, match="no time zone is named 'Lisbon'"):
        take(log("2026-07-01 12:00"), ImportOptions(time_zone="Lisbon"))


@pytest.mark.parametrize(
    ("form", "moment", "utc"),
    [
        ("%m/%d/%Y %I:%M %p", "03/01/2026 2:05 PM", "03-01T14:05:00"),
        ("%d.%m.%Y %H:%M", "01.03.2026 14:05", "03-01T14:05:00"),
        ("unix_s", "1772373900", "03-01T14:05:00"),
        ("unix_ms", "1772373900000", "03-01T14:05:00"),
    ],
)
def test_other_forms_are_read_when_they_are_stated(
    store: Store, take: Take, form: str, moment: str, utc: str
) -> None:
    take(log(moment), ImportOptions(time_format=form, time_zone="UTC"))
    assert times(store) == [utc]


@pytest.mark.parametrize("moment", ["03/01/2026 2:05 PM", "01.03.2026 14:05", "46082.58", "1772373900"])
def test_other_forms_are_never_guessed(take: Take, moment: str) -> None:
    with pytest.raises(TrendLogError, match=r"line 2: the time .* cannot be read .*--time-format"):
        take(log(moment))


@pytest.mark.parametrize(
    ("moment", "named"),
    [
        ("03/21/2026 2:05:00 PM", r'\(its form can be given: --time-format "%m/%d/%Y %I:%M:%S %p"\)$'),
        ("21.03.2026 14:05", r'--time-format "%d.%m.%Y %H:%M"\)$'),
        ("03/01/2026 14:05", r'"%m/%d/%Y %H:%M" or --time-format "%d/%m/%Y %H:%M"\)$'),
    ],
)
def test_the_form_that_fits_is_named_and_still_not_taken(
    store: Store, take: Take, moment: str, named: str
) -> None:
    with pytest.raises(TrendLogError, match=named):
        take(log(moment))
    assert times(store) == []


def test_a_named_form_reads_the_log_it_was_named_for(store: Store, take: Take) -> None:
    moment = "03/21/2026 2:05:00 PM"
    [form] = forms_that_fit([moment])
    take(log(moment), ImportOptions(time_format=form, time_zone="UTC"))
    assert times(store) == ["03-21T14:05:00"]


def test_a_form_must_fit_every_time_and_not_the_first_alone() -> None:
    assert forms_that_fit(["03/01/2026 14:05", "13/01/2026 14:05"]) == ["%d/%m/%Y %H:%M"]
    assert forms_that_fit(["03/01/2026 14:05", "soon"]) == []


def test_a_time_that_cannot_be_read_is_set_aside_alone(store: Store, take: Take) -> None:
    report = take(log("2026-03-01T14:05:00Z", "soon", "2026-13-01T00:00:00Z", "2026-03-01T14:15:00Z"))
    assert [(each.line, each.reason) for each in report.set_aside] == [
        (3, "the time 'soon' cannot be read"),
        (4, "the time '2026-13-01T00:00:00Z' cannot be read"),
    ]
    assert report.rows_new == 2


def test_a_clock_that_was_never_set_is_set_aside(take: Take) -> None:
    report = take(log("1969-12-31T23:59:00Z", "2026-03-01T14:15:00Z"))
    assert report.set_aside[0].reason == "the time '1969-12-31T23:59:00Z' is before 1970"


# Lisbon 2026: clocks go forward on 29 March from 01:00 to 02:00 and back on 25 October from 02:00 to 01:00
# (European Union summer time, Directive 2000/84/EC; both at 01:00 UTC).
FALL_BACK_UTC = datetime(2026, 10, 24, 23, 0, tzinfo=UTC)


def local_times(step_min: int, count: int) -> list[str]:
    """Return what a logger in Lisbon writes from 00:00 on the day clocks go back."""
    from zoneinfo import ZoneInfo

    moments = (FALL_BACK_UTC + timedelta(minutes=step_min * number) for number in range(count))
    return [moment.astimezone(ZoneInfo("Europe/Lisbon")).strftime("%Y-%m-%d %H:%M") for moment in moments]


@pytest.mark.parametrize("step_min", [1, 10, 60])
def test_the_hour_that_comes_twice_is_told_apart_by_the_order_of_the_file(
    store: Store, take: Take, step_min: int
) -> None:
    count = 4 * 60 // step_min
    take(log(*local_times(step_min, count)), LISBON)
    expected = [FALL_BACK_UTC + timedelta(minutes=step_min * number) for number in range(count)]
    assert times(store) == [moment.strftime("%m-%dT%H:%M:%S") for moment in expected]


@pytest.mark.parametrize("step_min", [1, 10, 60])
def test_a_log_with_the_newest_first_is_told_apart_too(store: Store, take: Take, step_min: int) -> None:
    count = 4 * 60 // step_min
    take(log(*reversed(local_times(step_min, count))), LISBON)
    expected = [FALL_BACK_UTC + timedelta(minutes=step_min * number) for number in range(count)]
    assert times(store) == [moment.strftime("%m-%dT%H:%M:%S") for moment in expected]


def test_the_day_clocks_go_back_has_25_hours_of_readings(take: Take) -> None:
    assert take(log(*local_times(60, 25)), LISBON).rows_new == 25


def test_a_time_that_clocks_jumped_over_is_set_aside(store: Store, take: Take) -> None:
    report = take(log("2026-03-29 00:30", "2026-03-29 01:30", "2026-03-29 02:30"), LISBON)
    assert times(store) == ["03-29T00:30:00", "03-29T01:30:00"]
    assert [(each.line, each.reason) for each in report.set_aside] == [
        (3, "the time '2026-03-29 01:30' never was: clocks were put forward over it")
    ]
