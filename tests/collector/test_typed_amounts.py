"""Amounts as people type them: every unit, both signs, and one line for what cannot be read."""

from __future__ import annotations

import pytest

from collector.typed_amounts import Kind, typed_amount


@pytest.mark.parametrize(
    ("text", "pascals"),
    [
        # NIST SP 811, appendix B (from memory): psi 6.894757E+03, inch of mercury 3.386389E+03, foot of water
        # 2.989067E+03, bar 1E+05.
        ("1 psi", 6894.757),
        ("1psi", 6894.757),
        ("1 PSIG", 6894.757),
        ("1 bar", 1e5),
        ("250 mbar", 25e3),
        ("1 kPa", 1e3),
        ("0.5 MPa", 5e5),
        ("1 inHg", 3386.389),
        ("1 ft", 2989.067),
        ("10 m", 98066.5),
        ("-5 inHg", -16931.945),
        ("−0.2 bar", -2e4),
        ("5 inHg vacuum", -16931.945),
        ("0.2 bar vac", -2e4),
    ],
)
def test_a_pressure_is_read_in_any_unit_of_a_gauge(text: str, pascals: float) -> None:
    assert typed_amount(text, "pressure") == pytest.approx(pascals, rel=1e-6)


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("0.4 m", 0.4), ("40 cm", 0.4), ("400 mm", 0.4), ("3 ft", 0.9144), ("4.026 in", 0.10226),
        ("4 ft 6 in", 1.3716), ("4' 6\"", 1.3716), ("-1 ft 6 in", -0.4572), ("0 m", 0.0),
    ],
)  # fmt: skip
def test_a_length_is_read_off_either_tape(text: str, metres: float) -> None:
    assert typed_amount(text, "length") == pytest.approx(metres, abs=5e-6)


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("142 gpm", "flow", 32.2517),
        ("9 L/s", "flow", 32.4),
        ("32.4 m³/h", "flow", 32.4),
        ("32.4 m3/h", "flow", 32.4),
        ("32.4m^3/h", "flow", 32.4),
        ("2900 min-1", "speed", 2900.0),
        ("2900 1/min", "speed", 2900.0),
        ("2900 rpm", "speed", 2900.0),
        ("2 %", "percent", 2.0),
    ],
)
def test_flow_speed_and_share_are_read_too(text: str, kind: Kind, value: float) -> None:
    assert typed_amount(text, kind) == pytest.approx(value, rel=1e-5)


@pytest.mark.parametrize(
    ("text", "kind", "words"),
    [
        ("", "pressure", "is missing"),
        ("12", "pressure", "has no unit"),
        ("12 spi", "pressure", "'spi' is no unit of pressure"),
        ("1,5 bar", "pressure", "decimals with a point"),
        ("about 12", "pressure", "cannot be read"),
        ("12 psi 3 psi", "pressure", "more than one value"),
        ("-5 inHg vacuum", "pressure", "below zero twice"),
        ("6 in 4 ft", "length", "more than one value"),
        ("2 psi", "length", "'psi' is no unit of length"),
        ("5 inHg vacuum", "length", "no unit of length"),
        ("142 psi", "flow", "no unit of flow"),
        ("1" * 41, "flow", "too long"),
        ("nan psi", "pressure", "cannot be read"),
        ("1e5 Pa", "pressure", "no unit"),
    ],
)
def test_what_cannot_be_read_is_said_in_one_line_with_an_example(text: str, kind: Kind, words: str) -> None:
    with pytest.raises(ValueError, match=words) as refusal:
        typed_amount(text, kind)
    assert "\n" not in str(refusal.value)
