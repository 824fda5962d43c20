"""A line's setting as people write it."""

from __future__ import annotations

import pytest

from collector.bus.line_setting import LineSetting, parse_line_setting


@pytest.mark.parametrize(
    ("words", "bits"),
    [("9600 8N1", 10), ("9600 8E1", 11), ("9600 8O1", 11), ("9600 8N2", 11), ("9600 8E2", 12)],
)
def test_a_character_has_its_bits(words: str, bits: int) -> None:
    # Serial line specification V1.02, 2.5.1 (from memory): eleven bits, the second stop bit for no parity.
    assert parse_line_setting(words).character_bits == bits


@pytest.mark.parametrize("words", ["19200 8E1", "19200-8E1", "19200,8,E,1", "19200-8e1", " 19200 8E1 "])
def test_the_usual_ways_to_write_it_are_read(words: str) -> None:
    setting = parse_line_setting(words)
    assert (setting, setting.words) == (LineSetting(19_200, "E", 1), "19200 8E1")


@pytest.mark.parametrize("words", ["", "19200", "19200 7E1", "19200 8X1", "19200 8E3", "12 8E1", "fast"])
def test_anything_else_is_refused_in_one_line(words: str) -> None:
    with pytest.raises(ValueError, match=r'written as "19200 8E1"'):
        parse_line_setting(words)


@pytest.mark.parametrize(
    ("words", "silence_ms", "gap_ms"),
    [
        ("9600 8E1", 4.0104, 1.7188),
        ("9600 8N1", 4.0104, 1.7188),
        ("9600 8E2", 4.375, 1.875),
        ("19200 8E1", 2.0052, 0.8594),
        ("38400 8E1", 1.75, 0.75),
    ],
)
def test_the_silences_are_those_of_the_specification_and_never_shorter(
    words: str, silence_ms: float, gap_ms: float
) -> None:
    # Serial line specification V1.02, 2.5.1.1 (from memory): t3.5 and t1.5 of eleven-bit characters, fixed at
    # 1.750 ms and 0.750 ms above 19200 baud. Ten bits would shorten them; twelve need more time.
    setting = parse_line_setting(words)
    assert setting.silence_s * 1000 == pytest.approx(silence_ms, abs=1e-4)
    assert setting.gap_s * 1000 == pytest.approx(gap_ms, abs=1e-4)
