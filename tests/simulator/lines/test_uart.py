"""Bits on a wire: what goes out, and what a receiver of the same and of other settings makes of it."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulator.lines.foreign_master import framed, is_sound
from simulator.lines.uart import (
    Character,
    LineSetting,
    Wave,
    bits_of,
    joined,
    parity_bit,
    receive,
    wave_of,
)

SETTINGS = [
    LineSetting(baud, parity, stop_bits)  # type: ignore[arg-type]
    for baud in (1200, 9600, 14400, 19200, 38400, 57600, 115200)
    for parity, stop_bits in (("E", 1), ("O", 1), ("N", 1), ("N", 2))
]
some_setting = st.sampled_from(SETTINGS)
some_bytes = st.binary(min_size=1, max_size=40)
NINE = LineSetting(9600, "N", 1)


def bytes_of(characters: tuple[Character, ...]) -> bytes:
    return bytes(character.byte for character in characters)


def is_good(character: Character) -> bool:
    return not (character.parity_error or character.framing_error)


def test_a_character_with_parity_goes_out_as_the_serial_line_specification_draws_it() -> None:
    """Serial line specification V1.02, 2.5.1, figure "bit sequence in RTU mode" (from memory):

    start, 1 to 8 with the least significant first, parity, stop; without parity a second stop bit.
    Hand-worked for 4B hexadecimal, 0100 1011: four ones, so the even parity bit is 0 and the odd one 1.
    """
    assert bits_of(0x4B, LineSetting(19200, "E", 1)) == [0, *(1, 1, 0, 1, 0, 0, 1, 0), 0, 1]
    assert bits_of(0x4B, LineSetting(19200, "O", 1)) == [0, *(1, 1, 0, 1, 0, 0, 1, 0), 1, 1]
    assert bits_of(0x4B, LineSetting(19200, "N", 2)) == [0, *(1, 1, 0, 1, 0, 0, 1, 0), 1, 1]


def test_a_character_has_eleven_bits_as_the_specification_asks_and_ten_in_the_common_short_form() -> None:
    """V1.02, 2.5.1: RTU characters have 11 bits, also without parity (8N2); 8N1 is common practice."""
    bits = {setting.words: setting.character_bits for setting in SETTINGS if setting.baud == 9600}
    assert bits == {"9600 8E1": 11, "9600 8O1": 11, "9600 8N1": 10, "9600 8N2": 11}


def test_character_times_are_those_published() -> None:
    """1.1458 ms at 9600 and 0.5729 ms at 19200 baud with 11 bits (trade pages that cite V1.02)."""
    assert LineSetting(9600, "E", 1).character_s == pytest.approx(1.1458e-3, abs=1e-7)
    assert LineSetting(19200, "E", 1).character_s == pytest.approx(0.5729e-3, abs=1e-7)


def test_the_letter_u_is_a_square_wave_at_half_the_baud_rate() -> None:
    """Common practice for finding a speed with an oscilloscope: 55 hexadecimal in 8N1."""
    edges = wave_of(b"UUU", NINE).edges
    assert edges == pytest.approx([place / 9600 for place in range(30)])


@given(data=some_bytes, setting=some_setting, begin_s=st.floats(0, 1e6))
def test_a_receiver_of_the_same_settings_hears_what_was_said(
    data: bytes, setting: LineSetting, begin_s: float
) -> None:
    came = receive(wave_of(data, setting, begin_s), setting).characters
    assert bytes_of(came) == data
    assert all(map(is_good, came))
    assert came[-1].ends_s == pytest.approx(begin_s + len(data) * setting.character_s)


@given(data=some_bytes, talks=some_setting, hears=some_setting, steps=st.lists(st.floats(0, 0.1), max_size=9))
def test_a_receiver_that_is_asked_now_and_then_hears_the_same_as_one_asked_at_the_end(
    data: bytes, talks: LineSetting, hears: LineSetting, steps: list[float]
) -> None:
    wave = wave_of(data, talks)
    for kind in (False, True):
        whole = receive(wave, hears, until_s=1.0, starts_at_low_stop=kind).characters
        parts: list[Character] = []
        from_s = until_s = 0.0
        for step in [*steps, 1.0]:
            until_s = min(until_s + step, 1.0)
            part = receive(wave, hears, from_s, until_s, starts_at_low_stop=kind)
            parts += part.characters
            from_s = part.resumes_s
        assert tuple(parts) == whole


@given(data=some_bytes)
def test_the_other_parity_is_an_error_in_every_character_and_every_byte_is_right(data: bytes) -> None:
    came = receive(wave_of(data, LineSetting(9600, "E", 1)), LineSetting(9600, "O", 1)).characters
    assert bytes_of(came) == data
    assert all(character.parity_error and not character.framing_error for character in came)


@given(data=some_bytes)
def test_without_parity_a_parity_bit_passes_for_a_stop_bit_exactly_where_it_is_1(data: bytes) -> None:
    came = receive(wave_of(data, LineSetting(9600, "E", 1)), LineSetting(9600, "N", 1)).characters
    assert bytes_of(came) == data
    assert [not character.framing_error for character in came] == [
        parity_bit(byte, "E") == 1 for byte in data
    ]


def test_with_parity_a_lone_byte_without_it_has_its_stop_bit_taken_for_the_parity() -> None:
    """The bit looked at is 1: right for a byte with an odd count of ones, wrong for the others."""
    for byte, is_wrong in ((0x01, False), (0x03, True), (0x00, True), (0x07, False)):
        (came,) = receive(wave_of(bytes([byte]), NINE), LineSetting(9600, "E", 1)).characters
        assert (came.byte, came.parity_error, came.framing_error) == (byte, is_wrong, False)


def test_a_byte_without_parity_close_behind_another_breaks_the_frame_of_a_receiver_with_parity() -> None:
    first = receive(wave_of(b"\x01\x01", NINE), LineSetting(9600, "E", 1)).characters[0]
    assert first.framing_error


def test_two_stop_bits_and_one_are_heard_alike() -> None:
    said = bytes(range(256))
    for talks, hears in ((1, 2), (2, 1)):
        wave = wave_of(said, LineSetting(9600, "E", talks))  # type: ignore[arg-type]
        # A receiver looks at the first stop bit only, so it is ready for the next start in time.
        came = receive(wave, LineSetting(9600, "E", hears)).characters  # type: ignore[arg-type]
        assert bytes_of(came) == said
        assert all(map(is_good, came))


def test_a_receiver_of_twice_the_speed_reads_each_bit_twice() -> None:
    """Hand-worked: U at 9600 is 0 1010 1010 1; at 19200 the eight bits after the half start bit are
    0 11 00 11 0, lowest first, which is 66 hexadecimal, and the stop bit is looked for in a 0.
    """
    first = receive(wave_of(b"U", NINE), LineSetting(19200, "N", 1)).characters[0]
    assert (first.byte, first.framing_error) == (0x66, True)


def test_a_receiver_of_half_the_speed_takes_a_few_fast_characters_for_one() -> None:
    came = receive(wave_of(bytes(range(100)), LineSetting(19200, "N", 1)), NINE).characters
    assert 40 <= len(came) <= 60


@pytest.mark.parametrize(("off_pct", "is_heard"), [(-4, True), (4, True), (-7, False), (7, False)])
def test_a_clock_may_be_off_by_half_a_bit_in_nine_and_a_half_and_no_more(
    off_pct: int, is_heard: bool
) -> None:
    """5.3 % for 8N1: half a bit at the middle of the stop bit (common practice)."""
    said = b"\x00\x00\xff\x00" * 5
    clock = LineSetting(round(9600 * (1 + off_pct / 100)), "N", 1)
    came = receive(wave_of(said, clock), NINE).characters
    assert (bytes_of(came) == said and all(map(is_good, came))) is is_heard


def test_a_line_held_at_0_is_one_break() -> None:
    (came,) = receive(Wave([1.0, 2.0]), NINE).characters
    assert came.is_break


def test_a_spike_shorter_than_half_a_bit_is_no_character() -> None:
    assert receive(Wave([1.0, 1.0 + 0.4 / 9600]), NINE).characters == ()


def test_a_turned_bit_is_seen_by_its_parity_and_not_without_one() -> None:
    for setting, is_seen in ((LineSetting(9600, "E", 1), True), (NINE, False)):
        (came,) = receive(wave_of(b"\x41", setting, flipped={3}), setting).characters
        assert (came.byte, came.parity_error) == (0x45, is_seen)


def test_after_a_low_stop_bit_two_kinds_of_receiver_go_on_differently() -> None:
    wave = wave_of(b"\x03\x05\x06\x11", LineSetting(9600, "E", 1))
    at_edge = receive(wave, NINE).characters
    at_stop = receive(wave, NINE, starts_at_low_stop=True).characters
    assert bytes_of(at_edge) == b"\x03\x05\x06\x11"
    assert bytes_of(at_stop)[:1] == b"\x03"
    assert bytes_of(at_stop) != bytes_of(at_edge)


@given(one=some_bytes, other=some_bytes, later_s=st.floats(0, 0.02), at_s=st.floats(0, 0.1))
def test_a_shared_line_is_at_0_where_anybody_pulls_it_there(
    one: bytes, other: bytes, later_s: float, at_s: float
) -> None:
    waves = [wave_of(one, NINE), wave_of(other, NINE, later_s)]
    assert joined(waves).level_at(at_s) == min(wave.level_at(at_s) for wave in waves)


def test_two_who_say_the_same_at_once_are_heard_as_one() -> None:
    wave = wave_of(b"same", NINE)
    assert receive(joined([wave, wave]), NINE) == receive(wave, NINE)


@given(unit_id=st.integers(1, 247), pdu=st.binary(min_size=2, max_size=40))
def test_over_swapped_wires_no_frame_stays_sound(unit_id: int, pdu: bytes) -> None:
    setting = LineSetting(19200, "E", 1)
    said = framed(unit_id, pdu)
    heard = receive(wave_of(said, setting).inverted(), setting).characters
    sent = receive(wave_of(said, setting, is_inverted=True), setting).characters
    assert not is_sound(bytes_of(heard))
    assert not is_sound(bytes_of(sent))
