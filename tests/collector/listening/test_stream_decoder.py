"""Frames are found in any stream of bytes, however it is cut and hurt, and none is invented."""

from __future__ import annotations

import random
from collections import Counter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.listening.decoder import Noise, StreamDecoder
from collector.listening.exchanges import Asked, Event, Exchange, OtherFunction, Outcome, Pairing, Stray
from collector.listening.frames import HeardFrame, Role
from tests.collector.bus.serial_devices import framed
from tests.collector.listening.streams import TrueExchange, answer, cut, hurt, random_exchange, read


def decoded(*lumps: bytes, silence: bool = True) -> list[HeardFrame | Noise]:
    decoder = StreamDecoder()
    heard = [each for time_s, lump in enumerate(lumps) for each in decoder.feed(lump, time_s)]
    return heard + (decoder.silence() if silence else [])


def roles(*lumps: bytes) -> list[str]:
    return [each.role if isinstance(each, HeardFrame) else "noise" for each in decoded(*lumps)]


def exchanges(data: bytes) -> list[Event]:
    """Return what was said, leaving out each request as it is heard for the first time."""
    pairing = Pairing()
    events = [*pairing.take(decoded(data)), *pairing.silence(0.0, 60.0)]
    return [event for event in events if not isinstance(event, Asked)]


def frames(data: bytes, lumps: list[bytes]) -> list[tuple[Role, bytes]]:
    assert b"".join(lumps) == data
    return [
        (each.role, data[each.start : each.end]) for each in decoded(*lumps) if isinstance(each, HeardFrame)
    ]


# Request and answer examples of the application protocol V1.1b3, sections 6.1 to 6.17, with the checksum of
# the serial line (values from memory; the checksums were also worked out by an independent library: see
# tests/collector/bus/test_published_frames.py).
PUBLISHED = {
    "read coils, 6.1": ("11 01 0013 0013", "11 01 03 CD 6B 05"),
    "read discrete inputs, 6.2": ("11 02 00C4 0016", "11 02 03 AC DB 35"),
    "read holding registers, 6.3": ("11 03 006B 0003", "11 03 06 022B 0000 0064"),
    "read input registers, 6.4": ("11 04 0008 0001", "11 04 02 000A"),
    "write single coil, 6.5": ("11 05 00AC FF00", "11 05 00AC FF00"),
    "write single register, 6.6": ("11 06 0001 0003", "11 06 0001 0003"),
    "mask write register, 6.16": ("11 16 0004 00F2 0025", "11 16 0004 00F2 0025"),
    "write multiple coils, 6.11": ("11 0F 0013 000A 02 CD01", "11 0F 0013 000A"),
    "write multiple registers, 6.12": ("11 10 0001 0002 04 000A 0102", "11 10 0001 0002"),
    "read and write registers, 6.17": (
        "11 17 0003 0006 000E 0003 06 00FF 00FF 00FF",
        "11 17 0C 00FE 0ACD 0001 0003 000D 00FF",
    ),
    "read device identification, 6.21": ("11 2B 0E 01 00", "11 2B 0E 01 01 00 00 01 00 03 414243"),
    "refused, 7": ("11 01 04A1 0001", "11 81 02"),
}


@pytest.mark.parametrize("example", PUBLISHED)
def test_a_published_exchange_is_told_into_request_and_answer(example: str) -> None:
    request, reply = (framed(bytes.fromhex(words)) for words in PUBLISHED[example])
    (exchange,) = exchanges(request + reply)
    assert isinstance(exchange, Exchange)
    assert exchange.request.pdu == request[1:-2]
    assert exchange.answer is not None
    assert exchange.answer.pdu == reply[1:-2]


def test_the_serial_line_s_own_frames_are_heard() -> None:
    # Serial line specification V1.02, 6.2.2, as printed with its checksum (from memory): 02 07 41 12. Its
    # function is not read here; between two frames that are, with its answer, it is told as another.
    other = bytes.fromhex("02 07 41 12") + framed(bytes.fromhex("02 07 6D"))
    known = read(2, 3, 0, 1) + answer(2, 3, b"\0\1")
    assert roles(known + other + known) == ["request", "answer", "other", "other", "request", "answer"]


@given(seed=st.integers(0, 10**6), longest=st.integers(2, 300), share=st.sampled_from([0, 0.01, 0.05]))
@settings(max_examples=60, deadline=None)
def test_any_cutting_gives_the_same_frames(seed: int, longest: int, share: float) -> None:
    chance = random.Random(seed)
    data = hurt(b"".join(random_exchange(chance).both for _ in range(12)), share, chance)
    assert frames(data, cut(data, chance, longest)) == frames(data, [data])


def test_looking_again_as_more_bytes_come_is_no_second_coming() -> None:
    # A coil request of a unit not known, behind noise; as an answer it would be longer than what has come.
    lone = b"\xaa" + read(9, 1, 0x2000, 7)
    assert [
        each
        for each in decoded(*(lone[place : place + 1] for place in range(len(lone))))
        if not isinstance(each, Noise)
    ] == []


def true_and_heard(seed: int, count: int, share: float) -> tuple[list[TrueExchange], list[Event], bytes]:
    """Return the exchanges whose bytes all arrived as sent, what was heard, and all that arrived."""
    chance = random.Random(seed)
    unhurt, arrived = [], b""
    for _ in range(count):
        true = random_exchange(chance)
        came = hurt(true.both, share, chance)
        arrived += came
        if came == true.both and true.answer:
            unhurt.append(true)
    return unhurt, exchanges(arrived), arrived


@pytest.mark.parametrize("share", [0.0, 0.005, 0.05])
def test_undamaged_exchanges_are_decoded_and_none_is_invented(share: float) -> None:
    unhurt, heard, arrived = true_and_heard(seed=20, count=4_000, share=share)
    sent = Counter((true.request, true.answer) for true in unhurt)
    found = Counter(
        (arrived[each.request.start : each.request.end], arrived[each.answer.start : each.answer.end])
        for each in heard
        if isinstance(each, Exchange) and each.answer is not None
    )
    assert found - sent == Counter()
    assert (sent & found).total() >= 0.999 * sent.total()
    assert sent.total() > 600


@given(noise=st.binary(min_size=1, max_size=2_000))
@settings(max_examples=200, deadline=None)
def test_noise_gives_nothing(noise: bytes) -> None:
    assert [each for each in exchanges(noise) if isinstance(each, Exchange)] == []


def test_a_long_noise_gives_no_request_and_no_exchange() -> None:
    # 300,000 bytes hold some five places with a right checksum; neither structure nor context speaks for
    # them. See the module's own reckoning for how seldom one would be claimed.
    noise = random.Random(3).randbytes(300_000)
    assert [each for each in decoded(noise) if isinstance(each, HeardFrame)] == []


def test_the_room_that_noise_takes_is_bounded() -> None:
    decoder = StreamDecoder()
    for time_s in range(200):
        decoder.feed(b"\x01\x03\xfa" * 100, time_s)
        assert len(decoder._bytes.data) < 1_500


@pytest.mark.parametrize("noise", ["00", "FF FF", "01 03", "01 03 FA", "01 10 00 00 00 7B F6"])
def test_a_frame_is_found_after_noise_that_looks_like_a_beginning(noise: str) -> None:
    both = read(1, 3, 10, 2) + answer(1, 3, b"\0\1\0\2")
    assert roles(bytes.fromhex(noise) + both) == ["noise", "request", "answer"]


def test_a_byte_or_two_between_request_and_answer_do_no_harm() -> None:
    events = exchanges(read(1, 3, 10, 2) + b"\x00\xff" + answer(1, 3, b"\0\1\0\2"))
    assert [each.outcome for each in events if isinstance(each, Exchange)] == [Outcome.ANSWERED]


def test_an_answer_after_a_damaged_answer_and_a_damaged_request_answers_nothing() -> None:
    first, second = read(1, 3, 10, 2), read(1, 3, 200, 2)
    lost = hurt(answer(1, 3, b"\0\1\0\2") + second, 1.0, random.Random(1))
    events = exchanges(first + lost + answer(1, 3, b"\0\7\0\7"))
    assert [each.outcome for each in events if isinstance(each, Exchange)] == [Outcome.DAMAGED]
    assert sum(isinstance(each, Stray) for each in events) == 1


def test_a_request_without_an_answer_is_told_when_the_next_one_comes() -> None:
    events = exchanges(read(7, 4, 0, 9) + read(1, 3, 10, 2) + answer(1, 3, b"\0\1\0\2"))
    assert [(each.request.unit, each.outcome) for each in events if isinstance(each, Exchange)] == [
        (7, Outcome.NO_ANSWER),
        (1, Outcome.ANSWERED),
    ]


def test_a_last_request_is_given_up_after_the_longest_wait_only() -> None:
    pairing = Pairing()
    pairing.take(decoded(read(7, 4, 0, 9)))
    assert pairing.silence(0.0, 4.9) == []
    (event,) = pairing.silence(0.0, 5.1)
    assert isinstance(event, Exchange)


def test_an_answer_that_looks_like_a_request_is_told_by_what_was_asked() -> None:
    # Three bytes of coils: eight bytes in all, as a request has; as a request it would read 7 at 0x0300.
    ask, reply = read(1, 1, 0, 24), answer(1, 1, bytes.fromhex("00 00 07"))
    assert roles(ask + reply) == ["request", "answer"]
    assert roles(reply) == ["request"]
    assert roles(ask + ask + reply) == ["request", "request", "answer"]


def test_an_answer_of_another_length_than_asked_answers_nothing() -> None:
    events = exchanges(read(1, 3, 10, 2) + answer(1, 3, b"\0\1\0\2\0\3"))
    assert [type(each) for each in events] == [Stray, Exchange]


def test_a_lone_answer_of_a_unit_never_heard_of_is_believed_at_its_second_coming() -> None:
    # As where only the answering pair of a four-wire line is tapped, with noise before each.
    lone = b"\xaa" + answer(9, 3, b"\0\1\0\2")
    assert roles(lone) == ["noise"]
    assert roles(lone + lone) == ["noise", "answer"]


def test_an_unknown_function_is_not_claimed_alone_the_first_time() -> None:
    known = read(2, 3, 0, 1) + answer(2, 3, b"\0\1")
    strange = framed(bytes.fromhex("30 41 01 02 03"))
    assert roles(known + strange + known).count("other") == 0
    assert roles((known + strange) * 2 + known).count("other") == 1


def test_an_unknown_function_does_not_answer_a_read() -> None:
    other = framed(bytes.fromhex("02 41 01")) + framed(bytes.fromhex("02 41 05"))
    events = exchanges(read(2, 3, 0, 1) + other + read(2, 3, 0, 1))
    assert sum(isinstance(each, OtherFunction) for each in events) == 2
    assert [each.outcome for each in events if isinstance(each, Exchange)] == [
        Outcome.DAMAGED,
        Outcome.NO_ANSWER,
    ]


def test_the_turn_around_is_counted_back_from_the_answers_end() -> None:
    decoder, pairing = StreamDecoder(), Pairing()
    request, reply = read(1, 3, 0, 2), answer(1, 3, bytes(4))
    heard = decoder.feed(request, 10.0)
    for place in range(len(reply)):
        heard += decoder.feed(reply[place : place + 1], 10.020 + 0.001 * (place + 1))
    asked, exchange = pairing.take(heard)
    assert isinstance(asked, Asked)
    assert isinstance(exchange, Exchange)
    assert exchange.turn_around_s(0.001) == pytest.approx(0.020)


def test_a_turn_around_within_one_lump_is_not_told() -> None:
    (exchange,) = exchanges(read(1, 3, 0, 2) + answer(1, 3, bytes(4)))
    assert isinstance(exchange, Exchange)
    assert exchange.turn_around_s(0.001) is None
