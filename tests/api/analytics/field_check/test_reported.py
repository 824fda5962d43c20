"""What the drive says beside what was measured: it agrees, or how it does not. Never anything of wear."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from api.analytics.field_check import (
    Agreement,
    Beside,
    Reported,
    agreement,
    is_steady,
    reported,
    unit_mistake,
)


def beside(measured: float, drive: float, measured_sd: float = 0.1) -> Beside:
    return Beside(measured=measured, measured_sd=measured_sd, drive=Reported(mean=drive, sd=0.0, count=10))


@pytest.mark.parametrize(("drive", "agrees"), [(20.59, True), (20.61, False), (19.41, True), (19.39, False)])
def test_a_difference_is_told_beyond_its_uncertainty_and_what_nobody_corrects(
    drive: float, agrees: bool
) -> None:
    # 2 * 0.1 m and 2 % of 20 m: 0.6 m.
    assert beside(20.0, drive).agrees is agrees


def test_one_duty_cannot_tell_how_a_value_differs() -> None:
    assert agreement([beside(20.0, 22.0)]) is Agreement.DIFFERS
    assert agreement([beside(20.0, 22.0), beside(19.0, 21.0)]) is Agreement.DIFFERS


@pytest.mark.parametrize(
    ("second", "told"),
    [
        (beside(10.0, 12.0), Agreement.OFFSET),
        (beside(10.0, 11.0), Agreement.GAIN),
        (beside(10.0, 11.5, measured_sd=0.6), Agreement.OFFSET_OR_GAIN),
        (beside(10.0, 8.0), Agreement.NOT_THIS_PUMPS),
        (beside(20.0, 20.0), Agreement.DIFFERS),
    ],
)
def test_a_second_duty_tells_an_offset_from_a_gain_from_another_pumps_curve(
    second: Beside, told: Agreement
) -> None:
    assert agreement([beside(20.0, 22.0), second]) is told


def test_two_duties_that_agree_agree() -> None:
    assert agreement([beside(20.0, 20.2), beside(10.0, 9.9)]) is Agreement.AGREES


@pytest.mark.parametrize(
    ("measured", "drive", "words"),
    [
        (10.0, 32.8, "feet read as metres"),
        (32.8, 10.0, "metres read as feet"),
        (10.0, 44.0, "gpm read as m3/h"),
        (10.0, 12.5, None),
        (10.0, 10.0, None),
    ],
)
def test_a_unit_that_is_wrong_in_the_map_is_named(measured: float, drive: float, words: str | None) -> None:
    assert unit_mistake(beside(measured, drive)) == words


def frame(speed: list[float], head: list[float]) -> pd.DataFrame:
    rows = len(speed)
    none = np.full(rows, np.nan)
    columns = {"speed_rpm": speed, "power_w": none, "flow_m3h": none, "head_m": head}
    return pd.DataFrame(columns, index=pd.Index(range(rows), name="time_utc_ms"))


def test_the_mean_is_of_the_readings_that_are_there() -> None:
    found = reported(frame([2900.0, 2902.0, np.nan], [10.0, 10.2, 10.4]))
    assert set(found) == {"speed_rpm", "head_m"}
    assert (found["speed_rpm"].mean, found["speed_rpm"].count) == (2901.0, 2)
    assert found["head_m"].mean == pytest.approx(10.2)
    assert found["head_m"].sd == pytest.approx(0.2)


def test_one_reading_has_no_scatter_and_none_is_not_there() -> None:
    assert reported(frame([2900.0], [np.nan])) == {"speed_rpm": Reported(mean=2900.0, sd=0.0, count=1)}
    assert reported(frame([], [])) == {}


@pytest.mark.parametrize(("last", "steady"), [(3040.0, True), (3055.0, False)])
def test_a_pump_whose_speed_moved_was_not_at_one_duty(last: float, steady: bool) -> None:
    assert is_steady(frame([2900.0, 2900.0, last], [10.0] * 3)) is steady


def test_nothing_read_is_no_sign_of_unrest() -> None:
    assert is_steady(frame([], []))
