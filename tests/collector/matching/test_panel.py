"""What a tech types from a panel, taken as typed or refused in one line that shows how to write it."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.matching import PanelError, parse_panel


def typed(text: str) -> list[tuple[str, float, float, str]]:
    return [(each.quantity.name, each.number, each.step, each.unit) for each in parse_panel(text)]


def refusal(text: str) -> str:
    with pytest.raises(PanelError) as caught:
        parse_panel(text)
    assert "\n" not in str(caught.value)
    return str(caught.value)


def test_a_panel_is_read_with_the_step_of_its_last_digit() -> None:
    assert typed("1180 W, 142 gpm, 27.5 ft, 3120 rpm") == [
        ("power_w", 1180.0, 1.0, "W"),
        ("flow_m3h", 142.0, 1.0, "gpm"),
        ("head_m", 27.5, 0.1, "ft"),
        ("speed_rpm", 3120.0, 1.0, "rpm"),
    ]


@pytest.mark.parametrize(
    "text", ["1.2 kW;3 L/s", "1.2 KW,3 l/s", "power 1.2kW, flow=3 lps", "power: 1.2 kW ; 3L/s"]
)
def test_usual_spellings_mean_the_same(text: str) -> None:
    assert typed(text) == [("power_w", 1.2, 0.1, "kW"), ("flow_m3h", 3.0, 1.0, "L/s")]


@pytest.mark.parametrize("text", ["1180 ±5 W", "1180±5W", "1180 +-5 W", "power 1180 +/- 5 W"])
def test_a_panel_that_moves_in_steps_may_be_typed_with_how_far_it_may_be_off(text: str) -> None:
    assert typed(text) == [("power_w", 1180.0, 10.0, "W")]


def test_a_panel_is_never_finer_than_its_last_digit() -> None:
    assert typed("27.5 ±0.01 ft") == [("head_m", 27.5, 0.1, "ft")]


@pytest.mark.parametrize(
    ("text", "value_in_base"),
    [
        # Factors of NIST SP 811, appendix B: foot 0.3048 m, US gallon 3.785412 L, horsepower 745.6999 W.
        ("100 ft", 30.48),
        ("100 gpm", 22.71247),
        ("2 hp", 1491.4),
    ],
)
def test_units_become_ours_by_the_published_factors(text: str, value_in_base: float) -> None:
    (value,) = parse_panel(text)
    assert value.value == pytest.approx(value_in_base, rel=1e-6)


def test_a_speed_in_per_cent_is_taken_with_the_rated_speed() -> None:
    (value,) = parse_panel("speed 97.5 %", rated_speed_rpm=2900)
    assert (value.value, value.step_in_base) == (pytest.approx(2827.5), pytest.approx(2.9))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("27,5 ft", "'27,5 ft': write 27.5 ft"),
        ("1,180 W", "'1,180 W': write 1180 W or 1.180 W"),
        ("1180 W, 27,5 ft", "'27,5 ft': write 27.5 ft"),
        ("45 C", "say whose temperature"),
        ("31", "add the unit"),
        ("3 gpn", "did you mean 'gpm'?"),
        ("sped 3 rpm", "did you mean 'speed'?"),
        ("head 3 gpm", "is in m, ft, kPa"),
        ("1180 W, 2 kW", "'1180 W' and '2 kW' are both"),
        ("speed 97.5 %", "needs the rated speed"),
        ("12..3 ft", "is no number"),
        ("1180 ±0 W", "after ± stands how far the value may be off, as in 1180 ±5 W"),
        ("1180 ±5..5 W", "after ± stands how far"),
        ("ft", "write a number and its unit"),
        ("  ,  ", "nothing was typed"),
    ],
)
def test_bad_typing_is_one_line_that_shows_how_to_write_it(text: str, words: str) -> None:
    assert words in refusal(text)


@given(st.text(max_size=40))
def test_whatever_is_typed_is_taken_or_refused(text: str) -> None:
    try:
        parse_panel(text)
    except PanelError as error:
        assert "\n" not in str(error)  # noqa: PT017 - either outcome is right
