"""What became of a request is judged by its bytes alone.

Frames are the examples of the application protocol V1.1b3, 6.3, 6.4 and 6.21, and of the serial line
specification V1.02 (values from memory, checksums checked in ``tests/collector/bus/test_published_frames``).
"""

from __future__ import annotations

import pytest

from collector.bus.crc import with_crc
from collector.survey.judge import Outcome, judge_serial_frames, judge_tcp
from collector.survey.said import LineRecord, Said

REQUEST = bytes.fromhex("01 04 00 08 00 01 B0 08")
ANSWER = bytes.fromhex("01 04 02 00 0A 39 37")
REFUSAL = bytes.fromhex("01 84 04 42 C3")
THREE_ASKED = bytes.fromhex("11 03 00 6B 00 03 76 87")
THREE_GIVEN = bytes.fromhex("11 03 06 AE 41 56 52 43 40 49 AD")
CHARACTER_S = 11 / 19_200


def said(*lumps: bytes, request: bytes = REQUEST) -> Said:
    """The lumps come ten milliseconds apart, the first 20 ms after the request was handed to the port."""
    return Said(request, 100.0, [(100.02 + 0.01 * place, lump) for place, lump in enumerate(lumps)])


def outcome(*lumps: bytes, request: bytes = REQUEST) -> Outcome:
    return judge_serial_frames(said(*lumps, request=request), CHARACTER_S).outcome


@pytest.mark.parametrize(
    ("lumps", "expected"),
    [
        ((), Outcome.SILENT),
        ((ANSWER,), Outcome.ANSWERED),
        ((ANSWER[:3], ANSWER[3:]), Outcome.ANSWERED),
        ((b"\x00\xff" + ANSWER,), Outcome.ANSWERED),
        ((REFUSAL,), Outcome.REFUSED),
        ((ANSWER[:-1] + b"\x38",), Outcome.DAMAGED),
        ((b"\x00",), Outcome.SILENT),
        ((b"\x00" * 3,), Outcome.SILENT),
        ((b"\x00" * 4,), Outcome.DAMAGED),
        ((REQUEST,), Outcome.ECHO_ONLY),
        ((REQUEST + ANSWER,), Outcome.ANSWERED),
        ((REQUEST[:5], REQUEST[5:] + b"\x00" * 6), Outcome.DAMAGED),
    ],
)
def test_the_outcome_of_a_request(lumps: tuple[bytes, ...], expected: Outcome) -> None:
    assert outcome(*lumps) is expected


@pytest.mark.parametrize("code", [10, 11])
def test_a_gateways_word_that_nobody_is_there_is_no_drive(code: int) -> None:
    verdict = judge_serial_frames(said(with_crc(bytes((1, 0x84, code)))), CHARACTER_S)
    assert (verdict.outcome, verdict.is_from_drive) == (Outcome.NO_PATH, False)


@pytest.mark.parametrize("answer", [ANSWER, REFUSAL])
def test_data_and_refusals_are_both_answers(answer: bytes) -> None:
    assert judge_serial_frames(said(answer), CHARACTER_S).is_from_drive


def test_two_answers_to_one_request_are_counted() -> None:
    other = with_crc(bytes.fromhex("01 04 02 00 0B"))
    heard = judge_serial_frames(said(ANSWER, other), CHARACTER_S).heard
    assert [(each.unit, each.shape) for each in heard] == [(1, (4, 2)), (1, (4, 2))]


def test_an_answer_of_another_function_is_not_ours() -> None:
    assert outcome(with_crc(bytes.fromhex("01 03 02 00 0A"))) is Outcome.DAMAGED


def test_another_units_answer_is_told_with_its_time() -> None:
    verdict = judge_serial_frames(said(THREE_GIVEN), CHARACTER_S)
    (other,) = verdict.heard
    assert (other.unit, verdict.outcome, verdict.is_from_drive) == (0x11, Outcome.DAMAGED, False)
    assert other.begins_s == pytest.approx(100.02 - len(THREE_GIVEN) * CHARACTER_S)


@pytest.mark.parametrize(
    ("came", "count"),
    [
        (ANSWER, 0),
        (REQUEST + ANSWER, 0),
        (THREE_ASKED, 1),
        (THREE_ASKED + THREE_GIVEN, 1),
        (ANSWER + THREE_ASKED + THREE_GIVEN + b"\x00" + THREE_ASKED, 2),
        (THREE_ASKED[:-1] + b"\x88", 0),
    ],
)
def test_requests_that_are_not_ours_are_counted(came: bytes, count: int) -> None:
    assert len(judge_serial_frames(said(came), CHARACTER_S).foreign) == count


WRITE_ONE = bytes.fromhex("11 06 00 01 00 03 9A 9B")
WRITE_MANY = bytes.fromhex("11 10 00 01 00 02 04 00 0A 01 02 C6 F0")


@pytest.mark.parametrize(
    ("came", "requests"),
    [
        (WRITE_ONE, [(0x11, 6)]),
        (WRITE_ONE + WRITE_ONE, [(0x11, 6)]),
        (3 * WRITE_ONE, [(0x11, 6), (0x11, 6)]),
        (WRITE_MANY, [(0x11, 16)]),
        (WRITE_MANY + with_crc(bytes.fromhex("11 10 00 01 00 02")), [(0x11, 16)]),
        (with_crc(bytes.fromhex("11 0F 00 13 00 0A 02 CD 01")), [(0x11, 15)]),
        (with_crc(bytes.fromhex("11 16 00 04 00 F2 00 25")), [(0x11, 22)]),
        (with_crc(bytes.fromhex("11 17 00 03 00 06 00 0E 00 03 06 00 FF 00 FF 00 FF")), [(0x11, 23)]),
        (with_crc(bytes.fromhex("00 06 00 01 00 03")), [(0, 6)]),
        (WRITE_MANY[:-1] + b"\x00", []),
        (with_crc(bytes.fromhex("11 10 00 01 00 03 04 00 0A 01 02")), []),
    ],
)
def test_writes_of_another_master_are_heard_too(came: bytes, requests: list[tuple[int, int]]) -> None:
    """The examples of the application protocol V1.1b3, 6.6, 6.11, 6.12, 6.16 and 6.17, with their unit."""
    heard = judge_serial_frames(said(b"\x00" + came), CHARACTER_S).foreign
    assert [(each.unit, each.function, each.is_write) for each in heard] == [
        (*request, True) for request in requests
    ]


def test_the_turn_around_runs_from_the_requests_end_to_the_answers_beginning() -> None:
    verdict = judge_serial_frames(said(ANSWER), CHARACTER_S)
    assert verdict.turn_around_s == pytest.approx(0.02 - (8 + 7) * CHARACTER_S)


def test_an_echo_does_not_change_the_turn_around() -> None:
    assert judge_serial_frames(said(REQUEST + ANSWER), CHARACTER_S).turn_around_s == pytest.approx(
        0.02 - (8 + 7) * CHARACTER_S
    )


def test_what_was_read_late_is_not_timed() -> None:
    """The bus sleeps until the long answer can be there, so a short refusal is found late."""
    long_request = with_crc(bytes.fromhex("01 04 00 08 00 40"))
    assert judge_serial_frames(said(REFUSAL, request=long_request), CHARACTER_S).turn_around_s is None
    assert judge_serial_frames(said(REFUSAL), CHARACTER_S).turn_around_s is not None


def test_bytes_heard_leave_the_echo_out() -> None:
    verdict = judge_serial_frames(said(REQUEST + ANSWER), CHARACTER_S)
    assert (verdict.echoed, verdict.bytes_heard) == (True, len(ANSWER))


def test_the_length_of_the_answer_is_told_by_the_request() -> None:
    verdict = judge_serial_frames(said(THREE_GIVEN, request=THREE_ASKED), CHARACTER_S)
    assert (verdict.answer_bytes, verdict.outcome) == (len(THREE_GIVEN), Outcome.ANSWERED)


@pytest.mark.parametrize(
    ("pdu", "expected"),
    [
        ("04 02 00 0A", Outcome.ANSWERED),
        ("84 02", Outcome.REFUSED),
        ("84 0B", Outcome.NO_PATH),
        ("03 02 00 0A", Outcome.DAMAGED),
    ],
)
def test_over_tcp_the_header_is_left_out(pdu: str, expected: Outcome) -> None:
    data = bytes.fromhex(pdu)
    header = bytes.fromhex("00 07 00 00 00")
    request = header + bytes.fromhex("06 01 04 00 08 00 01")
    verdict = judge_tcp(said(header + bytes((len(data) + 1, 1)) + data, request=request))
    assert (verdict.unit, verdict.outcome) == (1, expected)


def test_over_tcp_silence_is_silence() -> None:
    request = bytes.fromhex("00 07 00 00 00 06 01 04 00 08 00 01")
    assert judge_tcp(said(request=request)).outcome is Outcome.SILENT


def test_the_record_keeps_what_came_with_the_request_before_it() -> None:
    record = LineRecord()
    record.came(b"nobody's")
    for request in (REQUEST, THREE_ASKED):
        record.sent(request)
        record.came(request[:1])
        record.came(request[1:])
    assert [(each.request, each.came) for each in record.said] == [
        (each, each) for each in (REQUEST, THREE_ASKED)
    ]
