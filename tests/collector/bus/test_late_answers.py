"""A late answer is never taken for the answer to a later request: zero wrong values, however late."""

from __future__ import annotations

import random
import socket
import struct
import threading
import time
from collections import Counter
from collections.abc import Callable
from contextlib import suppress

import pytest

from collector.bus import BusError, NoLink, NoReply, ReadOnlyBus, Refused
from collector.bus.late_replies import LateReplies
from tests.collector.bus.serial_devices import (
    Device,
    each_request,
    framed,
    honest,
    on_pseudo_terminal,
    on_socket,
    registers,
    serial_bus,
    tcp_bus,
)

TIME_OUT_S = 0.02
READS = 1000


def tally(
    bus: ReadOnlyBus, reads: int, counts: tuple[int, ...] = (2, 4, 4, 4, 7), seed: int = 3
) -> Counter[str]:
    """Read random places, and count what came back against what the drive holds there."""
    chance = random.Random(seed)
    results: Counter[str] = Counter()
    for _ in range(reads):
        address, count = chance.randrange(60_000), chance.choice(counts)
        try:
            data = bus.read_registers(chance.choice([1, 2]), "holding", address, count)
        except NoLink:
            time.sleep(max(0.0, bus.next_try_s - time.monotonic()))
        except BusError:
            results["none"] += 1
        else:
            results["right" if data == registers(address, count) else "wrong"] += 1
    return results


def late_in_order(late_s: float, one_in: int = 7) -> Callable[[bytes], bytes]:
    """A drive that answers one request after the other, some later than anybody waits."""
    chance = random.Random(1)

    def behave(request: bytes) -> bytes:
        if chance.randrange(one_in) == 0:
            time.sleep(late_s)
        return honest(request)

    return behave


def test_one_answer_in_seven_late_gives_no_wrong_value_in_a_thousand_reads() -> None:
    with on_pseudo_terminal(late_in_order(2 * TIME_OUT_S)) as drive:
        with ReadOnlyBus(serial_bus(drive, timeout_s=TIME_OUT_S, late_reply_s=0.025)) as bus:
            results = tally(bus, READS)
    assert results["wrong"] == 0
    assert results["none"] > READS / 20
    assert results["right"] > READS / 4


def test_order_alone_protects_against_answers_later_than_the_site_file_allows() -> None:
    with on_pseudo_terminal(late_in_order(8 * TIME_OUT_S)) as drive:
        with ReadOnlyBus(serial_bus(drive, timeout_s=TIME_OUT_S, late_reply_s=0.01)) as bus:
            # Ten registers leave nine shorter reads to ask while a drive sleeps for eight time-outs.
            results = tally(bus, READS // 6, counts=(10,))
    assert results["wrong"] == 0
    assert results["right"] > READS / 30


def test_time_alone_protects_against_answers_that_come_out_of_order() -> None:
    chance = random.Random(2)

    def overtaken(request: bytes) -> bytes | list[tuple[float, bytes]]:
        return [(3 * TIME_OUT_S, honest(request))] if chance.randrange(7) == 0 else honest(request)

    with on_pseudo_terminal(overtaken) as drive:
        with ReadOnlyBus(serial_bus(drive, timeout_s=TIME_OUT_S, late_reply_s=0.25)) as bus:
            results = tally(bus, READS // 7)
    assert results["wrong"] == 0
    assert results["right"] > READS / 30


def test_the_same_holds_behind_a_gateway_that_hands_serial_frames_on() -> None:
    behave = late_in_order(3 * TIME_OUT_S)
    with on_socket(each_request(behave, header=False)) as drive:
        settings = {"timeout_s": TIME_OUT_S, "late_reply_s": 0.04}
        with ReadOnlyBus(tcp_bus(drive, "rtu_over_tcp", **settings)) as bus:
            results = tally(bus, READS // 5)
    assert results["wrong"] == 0
    assert results["right"] > READS / 30


def test_every_answer_sent_twice_gives_no_wrong_value() -> None:
    with on_pseudo_terminal(lambda request: 2 * honest(request)) as drive:
        with ReadOnlyBus(serial_bus(drive, timeout_s=TIME_OUT_S, late_reply_s=0.01)) as bus:
            results = tally(bus, 200)
    assert results["wrong"] == 0
    assert results["right"] > 50


def test_the_others_are_read_while_one_may_still_answer_late() -> None:
    def behave(request: bytes) -> bytes:
        return b"" if request[0] == 9 else honest(request)

    with on_pseudo_terminal(behave) as drive:
        with ReadOnlyBus(serial_bus(drive, timeout_s=0.2, late_reply_s=5.0)) as bus:
            with pytest.raises(NoReply):
                bus.read_registers(9, "holding", 0, 4)
            begun_s = time.monotonic()
            for _ in range(20):
                bus.read_registers(1, "holding", 0, 4)
            assert bus.quiet_left_s(9) > 5.0 - (time.monotonic() - begun_s) - 0.1
            assert bus.quiet_left_s(1) == 0.0


def requests_after_a_time_out(count: int) -> list[tuple[int, int]]:
    """Return address and count of what is sent when the first request went unanswered."""
    answers = iter([b""])
    with on_pseudo_terminal(lambda request: next(answers, honest(request))) as drive:
        with ReadOnlyBus(serial_bus(drive, timeout_s=0.2, late_reply_s=0.01)) as bus:
            with pytest.raises(NoReply):
                bus.read_registers(1, "holding", 100, count)
            assert bus.read_registers(1, "holding", 100, count) == registers(100, count)
            assert bus.read_registers(1, "holding", 100, count) == registers(100, count)
    return [struct.unpack(">HH", request[2:6]) for request in drive.requests]


def test_after_a_time_out_a_shorter_read_comes_first_and_only_once() -> None:
    assert requests_after_a_time_out(4) == [(100, 4), (100, 1), (100, 4), (100, 4)]


def test_a_single_register_has_no_shorter_read_and_waits_instead() -> None:
    assert requests_after_a_time_out(1) == [(100, 1), (100, 1), (100, 1)]


def test_an_exception_proves_nothing_while_a_late_answer_is_possible() -> None:
    answers = iter([b""])
    refusal = framed(b"\x01\x83\x02")
    with on_pseudo_terminal(lambda request: next(answers, refusal)) as drive:
        with ReadOnlyBus(serial_bus(drive, timeout_s=0.2, late_reply_s=1.0)) as bus:
            with pytest.raises(NoReply):
                bus.read_registers(1, "holding", 100, 4)
            with pytest.raises(Refused) as unsure:
                bus.read_registers(1, "holding", 100, 2)
            time.sleep(bus.quiet_left_s(1))
            with pytest.raises(Refused) as sure:
                bus.read_registers(1, "holding", 100, 3)
    assert (unsure.value.certain, sure.value.certain) == (False, True)


def test_a_late_answer_over_tcp_is_told_by_its_transaction_number() -> None:
    chance = random.Random(4)

    def send_if_open(connection: socket.socket, answer: bytes) -> None:
        with suppress(OSError):
            connection.sendall(answer)

    def serve(connection: socket.socket, device: Device) -> None:
        while request := connection.recv(12):
            device.note(request)
            transaction, _, _, unit, function, address, count = struct.unpack(">HHHBBHH", request)
            pdu = bytes((function, 2 * count)) + registers(address, count)
            answer = struct.pack(">HHHB", transaction, 0, len(pdu) + 1, unit) + pdu
            if chance.randrange(7) == 0:
                later = threading.Timer(3 * TIME_OUT_S, send_if_open, (connection, answer))
                later.start()
                laters.append(later)
            else:
                connection.sendall(answer)

    laters: list[threading.Timer] = []
    with on_socket(serve) as drive:
        with ReadOnlyBus(tcp_bus(drive, timeout_s=TIME_OUT_S)) as bus:
            results = tally(bus, READS // 2)
            for later in laters:
                later.join()
    assert results["wrong"] == 0
    assert results["right"] > READS / 8


SHAPE, OTHER = (3, 8), (3, 2)


def test_a_shape_is_remembered_until_order_and_time_both_clear_it() -> None:
    late = LateReplies(late_reply_s=1.0)
    late.unanswered(1, SHAPE, now_s=10.0)
    late.proven(1, now_s=10.9)
    assert late.may_come(1, SHAPE)
    late.proven(1, now_s=11.0)
    assert not late.may_come(1, SHAPE)


def test_only_the_shape_and_the_unit_that_went_unanswered_are_suspect() -> None:
    late = LateReplies(late_reply_s=1.0)
    late.unanswered(1, SHAPE, now_s=10.0)
    assert not late.may_come(1, OTHER)
    assert not late.may_come(2, SHAPE)


def test_a_late_answer_that_was_expected_does_not_begin_a_new_wait() -> None:
    late = LateReplies(late_reply_s=1.0)
    late.unanswered(1, SHAPE, now_s=10.0)
    late.unasked(1, SHAPE, now_s=10.8)
    assert late.quiet_left_s(1, now_s=11.0) == 0.0


def test_an_answer_nobody_expected_begins_a_wait() -> None:
    late = LateReplies(late_reply_s=1.0)
    late.unasked(1, SHAPE, now_s=10.0)
    assert late.may_come(1, SHAPE)
    assert late.quiet_left_s(1, now_s=10.4) == pytest.approx(0.6)
