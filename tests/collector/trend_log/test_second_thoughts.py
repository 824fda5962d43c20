"""A file that contradicts the store, or whose units cannot be, is refused whole unless a person insists."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from math import sin
from pathlib import Path

import pytest

from collector.store import Store
from collector.trend_log import (
    ImportOptions,
    ImportReport,
    TrendLogError,
    column_choice,
    import_trend_logs,
)
from collector.trend_log.second_thoughts import WireToWater

Take = Callable[..., ImportReport]
END = 10**15
START = datetime(2026, 2, 1, 12, tzinfo=UTC)
FEET = 3.280840
US_GALLONS_A_MINUTE = 4.402868
"""A foot is 0.3048 m, a US gallon 231 in³ (NIST SP 811, appendix B.8): one over these."""


def log(rows: list[str], columns: str = "head_m", step_s: int = 60) -> str:
    lines = [
        f"{(START + timedelta(seconds=step_s * number)):%Y-%m-%d %H:%M:%S},{row}"
        for number, row in enumerate(rows)
    ]
    return "\n".join([f"time,{columns}", *lines]) + "\n"


def in_zone(zone: str, *, keep_stored: bool = False) -> ImportOptions:
    return ImportOptions(time_zone=zone, keep_stored=keep_stored)


WEEK = log([f"{6 + sin(minute / 7):.3f}" for minute in range(0, 10_080, 5)], step_s=300)


def test_the_same_log_in_another_zone_is_refused_whole(store: Store, take: Take) -> None:
    take(WEEK, in_zone("UTC"))
    before = store.rows("P01", 0, END)
    with pytest.raises(TrendLogError) as caught:
        take(WEEK, in_zone("America/New_York"))
    assert "is it the right time zone (--tz), the right pump" in str(caught.value)
    assert "Nothing was imported" in str(caught.value)
    assert (store.rows("P01", 0, END), len(store.imports())) == (before, 1)


def test_a_person_may_keep_the_stored_and_take_the_new_rows(store: Store, take: Take) -> None:
    take(WEEK, in_zone("UTC"))
    before = store.rows("P01", 0, END)
    report = take(WEEK, in_zone("America/New_York", keep_stored=True))
    assert report.rows_new == 5 * 12
    assert store.rows("P01", 0, END)[: len(before)] == before


@pytest.mark.parametrize(("wrong", "refused"), [(2, False), (3, True)])
def test_a_tenth_of_the_rows_may_contradict(store: Store, take: Take, wrong: int, refused: bool) -> None:
    """Both sides of 10 % of the fewest rows."""
    take(log(["6"] * 20), in_zone("UTC"))
    again = log(["9"] * wrong + ["6"] * (20 - wrong) + ["7"])
    if refused:
        with pytest.raises(TrendLogError, match=f"{wrong} of the 20 rows that can be compared contradict"):
            take(again, in_zone("UTC"))
    assert refused or take(again, in_zone("UTC")).rows_contradicting == wrong
    assert len(store.rows("P01", 0, END)) == (20 if refused else 21)


def test_a_few_rows_are_too_few_to_judge(take: Take) -> None:
    take(log(["6"] * 19), in_zone("UTC"))
    assert take(log(["9"] * 19), in_zone("UTC")).rows_contradicting == 19


def test_columns_that_are_not_stored_yet_are_nothing_to_compare(take: Take) -> None:
    """A hundred completed rows must not hide that all of the comparable ones contradict."""
    take(log(["6,"] * 30 + [",100"] * 100, "head_m,power_w"), in_zone("UTC"))
    with pytest.raises(TrendLogError, match="30 of the 30 rows that can be compared"):
        take(log(["9"] * 130), in_zone("UTC"))


def test_times_without_seconds_contradict_themselves(store: Store, take: Take) -> None:
    text = "time,head_m\n" + "".join(f"2026-02-01 12:{n // 6:02d},{6 + n / 10}\n" for n in range(120))
    with pytest.raises(TrendLogError, match="do its times have seconds"):
        take(text, in_zone("UTC"))
    assert store.pump_names() == ()


def of_pump(flow: float, head: float, power_w: float, rows: int = 30) -> str:
    return log([f"{flow},{head},{power_w}"] * rows, "flow_m3h,head_m,power_w")


def test_gallons_and_feet_taken_for_metres_are_noticed(store: Store, take: Take) -> None:
    """20 m3/h x 12 m is 653 W to the water (998.2 kg/m3, ISO 17769-1, from memory): 0.5 of 1306 W."""
    text = of_pump(20 * US_GALLONS_A_MINUTE, 12 * FEET, 1306)
    with pytest.raises(TrendLogError, match=r"gives 7\.2 times the electric power") as caught:
        take(text, in_zone("UTC"))
    assert "is flow in gpm, head in ft or power in kW?" in str(caught.value)
    assert (store.pump_names(), "\n" in str(caught.value)) == ((), False)


def test_the_same_log_with_its_units_said_is_taken(take: Take) -> None:
    text = of_pump(20 * US_GALLONS_A_MINUTE, 12 * FEET, 1306)
    columns = tuple(column_choice(each) for each in ("flow_m3h=flow_m3h:gpm", "head_m=head_m:ft"))
    assert take(text, ImportOptions(time_zone="UTC", columns=columns)).rows_new == 30


def test_a_person_may_insist_on_the_units(take: Take) -> None:
    text = of_pump(20 * US_GALLONS_A_MINUTE, 12 * FEET, 1306)
    assert take(text, ImportOptions(time_zone="UTC", units_are_right=True)).rows_new == 30


@pytest.mark.parametrize(("power_w", "refused"), [(653 / 0.87, False), (653 / 0.93, True)])
def test_nine_tenths_is_the_most_that_water_gets(
    take: Take, store: Store, power_w: float, refused: bool
) -> None:
    if refused:
        with pytest.raises(TrendLogError, match=r"gives 0\.93 times the electric power"):
            take(of_pump(20, 12, power_w), in_zone("UTC"))
    assert refused or take(of_pump(20, 12, power_w), in_zone("UTC"))
    assert bool(store.pump_names()) is not refused


def test_units_are_seen_when_the_last_of_several_files_completes_the_readings(
    store: Store, tmp_path: Path
) -> None:
    paths = [tmp_path / "power.csv", tmp_path / "water.csv"]
    paths[0].write_text(log(["1306"] * 30, "power_w"), encoding="utf-8")
    paths[1].write_text(log(["88,39"] * 30, "flow_m3h,head_m"), encoding="utf-8")
    with pytest.raises(TrendLogError, match=r"water\.csv: flow x head gives 7\.1 times"):
        import_trend_logs(store, "P01", paths, in_zone("UTC"))
    assert store.pump_names() == ()


def row(power_w: float | None, flow: float | None, speed: float | None = None) -> tuple[float | None, ...]:
    """Return a stored row with 12 m of head, as far as it is looked at."""
    return (0, 1, speed, power_w, flow, 12.0, *[None] * 9, 0, 2)


def test_a_pump_at_rest_through_which_others_push_water_says_nothing() -> None:
    """Four days of five at rest: 4 W, and 5 m3/h of another pump's water, 40 times its own power."""
    seen = WireToWater()
    seen.add([row(4, 5)] * 400 + [row(1306, 20)] * 100)
    assert seen.median() == pytest.approx(0.5, rel=0.01)


@pytest.mark.parametrize(
    "quiet", [row(None, 20), row(0, 20), row(1306, None), row(1306, 0), row(1306, 20, speed=0)]
)
def test_readings_without_all_three_or_at_rest_are_not_counted(quiet: tuple[float | None, ...]) -> None:
    seen = WireToWater()
    seen.add([quiet] * 100)
    assert seen.median() is None


@pytest.mark.parametrize(("rows", "known"), [(19, False), (20, True)])
def test_twenty_readings_are_enough(rows: int, known: bool) -> None:
    seen = WireToWater()
    seen.add([row(1306, 20, speed=1450)] * rows)
    assert (seen.median() is not None) is known
