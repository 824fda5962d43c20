from __future__ import annotations

import numpy as np

from dashboards.moments import axis_times, clock_words, day_words, moment_words, span_words

CLOCKS_BACK_MS = 1_792_890_000_000  # 25 October 2026, 01:00 UTC: in Lisbon 02:00 becomes 01:00 (tz database)
HOUR_MS = 3_600_000


def test_a_day_of_another_year_says_its_year() -> None:
    assert day_words(CLOCKS_BACK_MS - 365 * 24 * HOUR_MS, "UTC", CLOCKS_BACK_MS).endswith("2025")


def test_today_needs_no_date() -> None:
    assert moment_words(CLOCKS_BACK_MS, "UTC", CLOCKS_BACK_MS + HOUR_MS) == "01:00 today"


def test_today_is_the_sites_day_and_not_greenwichs() -> None:
    late_ms = CLOCKS_BACK_MS + 21 * HOUR_MS  # 22:00 UTC, and already the next day in Auckland
    assert "today" not in moment_words(CLOCKS_BACK_MS, "Pacific/Auckland", late_ms)


def test_data_as_of_names_the_zone_on_both_sides_of_a_clock_change() -> None:
    before, after = (clock_words(CLOCKS_BACK_MS + shift, "Europe/Lisbon") for shift in (-1000, 0))
    assert before.endswith("01:59:59 WEST")
    assert after.endswith("01:00:00 WET")


def test_an_axis_shows_the_sites_own_clock() -> None:
    times = np.array([CLOCKS_BACK_MS - HOUR_MS, CLOCKS_BACK_MS + HOUR_MS], dtype=np.int64)
    assert axis_times(times, "Europe/Lisbon") == ["2026-10-25 01:00:00", "2026-10-25 02:00:00"]


def test_a_span_changes_its_unit_where_the_number_would_grow_too_long() -> None:
    assert [span_words(seconds) for seconds in (99, 101, 7_199, 7_201, 86_399, 86_401)] == [
        "99 s",
        "2 min",
        "120 min",
        "2 h",
        "24 h",
        "1 day",
    ]
