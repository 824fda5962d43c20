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
