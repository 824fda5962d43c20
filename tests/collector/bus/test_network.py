"""Gateways on real sockets on 127.0.0.1, honest and not."""

from __future__ import annotations

import socket
import struct
import time
from collections.abc import Callable

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from collector.bus import BusError, Damaged, NoLink, NoReply, ReadOnlyBus, Refused
from tests.collector.bus.serial_devices import (
    Device,
    each_request,
    honest,
    honest_tcp,
    on_socket,
    registers,
    tcp_bus,
)


def answering(change: Callable[[bytes], bytes]) -> Callable[[bytes], bytes]:
    return lambda request: change(honest_tcp(request))


def failure(behave: Callable[[bytes], bytes]) -> BusError:
    with (
        on_socket(each_request(behave, header=True)) as drive,
        ReadOnlyBus(tcp_bus(drive, timeout_s=0.15)) as bus,
    ):
        with pytest.raises(BusError) as caught:
            bus.read_registers(1, "holding", 100, 4)
    assert "\n" not in str(caught.value)
    return caught.value


def with_pdu(answer: bytes, pdu: bytes) -> bytes:
    return answer[:4] + struct.pack(">HB", len(pdu) + 1, answer[6]) + pdu


def test_a_gateway_is_read() -> None:
    with on_socket(each_request(honest_tcp, header=True)) as drive, ReadOnlyBus(tcp_bus(drive)) as bus:
        for number in range(300):
            assert bus.read_registers(1, "input", number, 5) == registers(number, 5)


def test_the_request_is_the_published_one() -> None:
    with on_socket(each_request(honest_tcp, header=True)) as drive, ReadOnlyBus(tcp_bus(drive)) as bus:
        bus.read_registers(1, "holding", 0x6B, 3)
    # Messaging guide V1.0b form of the example in the application protocol V1.1b3, 6.3; ours counts from 1.
    assert drive.requests[0][2:] == bytes.fromhex("00 00 00 06 01 03 00 6B 00 03")


@pytest.mark.parametrize(
    ("change", "kind", "words"),
    [
        pytest.param(lambda a: b"", NoReply, "no reply within 0.15 s", id="silence"),
        pytest.param(lambda a: b"\x99\x99" + a[2:], NoReply, "no reply", id="another transaction"),
        pytest.param(lambda a: a[:6] + b"\x07" + a[7:], Damaged, "came from unit 7", id="another unit"),
        pytest.param(
            lambda a: a[:2] + b"\x00\x01" + a[4:], Damaged, "not this protocol", id="another protocol"
        ),
        pytest.param(lambda a: a[:4] + b"\xff\xff" + a[6:], Damaged, "not this protocol", id="length 65535"),
        pytest.param(lambda a: bytes(100_000), Damaged, "not this protocol", id="zeros"),
        pytest.param(lambda a: a[:9], Damaged, "only part of an answer", id="cut off"),
        pytest.param(lambda a: with_pdu(a, b"\x04" + a[8:]), Damaged, "function 4", id="another function"),
        pytest.param(lambda a: with_pdu(a, b"\x03\x02" + a[9:11]), Damaged, "another length", id="short"),
        pytest.param(lambda a: with_pdu(a, b"\x03\x10" + bytes(16)), Damaged, "another length", id="long"),
        pytest.param(
            lambda a: with_pdu(a, b"\x03\x08" + bytes(7)), Damaged, "another length", id="count lies"
        ),
        pytest.param(lambda a: with_pdu(a, b"\x83\x02"), Refused, "no such register", id="exception"),
        pytest.param(lambda a: with_pdu(a, b"\x83"), Damaged, "function 131", id="half an exception"),
    ],
)
def test_an_answer_that_does_not_match_gives_no_value(
    change: Callable[[bytes], bytes], kind: type[BusError], words: str
) -> None:
    error = failure(answering(change))
    assert isinstance(error, kind)
    assert words in str(error)


def test_an_answer_that_comes_byte_by_byte_is_read() -> None:
    def serve(connection: socket.socket, device: Device) -> None:
        request = connection.recv(12)
        for byte in honest_tcp(request):
            time.sleep(0.002)
            connection.sendall(bytes((byte,)))
        connection.recv(1)

    with on_socket(serve) as drive, ReadOnlyBus(tcp_bus(drive)) as bus:
        assert bus.read_registers(1, "holding", 100, 4) == registers(100, 4)


def test_after_a_broken_stream_a_new_connection_is_made() -> None:
    bad = iter([bytes(50)])
    with on_socket(each_request(lambda r: next(bad, honest_tcp(r)), header=True)) as drive:
        with ReadOnlyBus(tcp_bus(drive)) as bus:
            with pytest.raises(Damaged):
                bus.read_registers(1, "holding", 100, 4)
            assert not bus.is_open
            time.sleep(max(0.0, bus.next_try_s - time.monotonic()))
            assert bus.read_registers(1, "holding", 200, 4) == registers(200, 4)


def test_a_connection_reset_in_the_middle_of_an_answer_is_made_again() -> None:
    calls = iter([True])

    def serve(connection: socket.socket, device: Device) -> None:
        if next(calls, False):
            connection.sendall(honest_tcp(connection.recv(12))[:9])
            connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
            connection.close()
            return
        each_request(honest_tcp, header=True)(connection, device)

    with on_socket(serve) as drive, ReadOnlyBus(tcp_bus(drive)) as bus:
        with pytest.raises(NoLink, match="the connection was lost"):
            bus.read_registers(1, "holding", 100, 4)
        time.sleep(max(0.0, bus.next_try_s - time.monotonic()))
        assert bus.read_registers(1, "holding", 200, 4) == registers(200, 4)


def test_a_half_open_connection_is_closed_after_three_silent_reads_and_waited_for_longer_each_time() -> None:
    with on_socket(each_request(lambda _: b"", header=True)) as drive:
        with ReadOnlyBus(tcp_bus(drive, timeout_s=0.01)) as bus:
            waits_s = []
            for _ in range(8):
                for _ in range(3):
                    with pytest.raises(NoReply):
                        bus.read_registers(1, "holding", 100, 4)
                assert not bus.is_open
                waits_s.append(round(bus.next_try_s - time.monotonic(), 1))
                with pytest.raises(NoLink, match="3 reads in a row got no answer"):
                    bus.read_registers(1, "holding", 100, 4)
                bus._next_try_s = 0.0  # as if that time had passed
    assert waits_s == [0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 30.0, 30.0]


def test_a_host_that_does_not_accept_is_named() -> None:
    with socket.create_server(("127.0.0.1", 0)) as closed:
        port = closed.getsockname()[1]
    bus = ReadOnlyBus(tcp_bus(Device(port=port)))
    with pytest.raises(NoLink, match=rf"127\.0\.0\.1:{port}: no connection \(Connection refused\)"):
        bus.read_registers(1, "holding", 0, 1)


def test_serial_frames_over_a_socket_are_read() -> None:
    with on_socket(each_request(honest, header=False)) as drive:
        with ReadOnlyBus(tcp_bus(drive, "rtu_over_tcp")) as bus:
            for number in range(300):
                assert bus.read_registers(3, "input", number, 5) == registers(number, 5)


@pytest.mark.parametrize(
    ("stated", "silent_ms"), [({}, 4.0), ({"baud": 19_200}, 2.0), ({"baud": 38_400}, 1.75)]
)
def test_the_silence_of_the_line_behind_a_gateway_is_kept_too(
    stated: dict[str, object], silent_ms: float
) -> None:
    with on_socket(each_request(honest, header=False)) as drive:
        with ReadOnlyBus(tcp_bus(drive, "rtu_over_tcp", **stated)) as bus:
            for number in range(60):
                bus.read_registers(3, "input", number, 5)
    assert len(drive.silences_s()) == 59
    assert min(drive.silences_s()) * 1000 >= silent_ms


def test_a_stream_that_never_ends_takes_no_memory_and_ends_at_the_time_out() -> None:
    def flood(connection: socket.socket, device: Device) -> None:
        connection.recv(8)
        connection.settimeout(5)
        while True:
            connection.sendall(bytes(65_536))

    with on_socket(flood) as drive, ReadOnlyBus(tcp_bus(drive, "rtu_over_tcp", timeout_s=0.2)) as bus:
        begun_s = time.monotonic()
        with pytest.raises(Damaged):
            bus.read_registers(1, "holding", 0, 4)
        assert time.monotonic() - begun_s < 2.0


ANSWERS = st.lists(st.binary(max_size=300), min_size=1, max_size=20)


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(answers=ANSWERS, kind=st.sampled_from(["tcp", "rtu_over_tcp"]))
def test_random_answers_on_real_sockets_raise_only_declared_errors(answers: list[bytes], kind: str) -> None:
    waiting = iter(answers)
    with on_socket(each_request(lambda _: next(waiting, b""), header=kind == "tcp")) as drive:
        with ReadOnlyBus(tcp_bus(drive, kind, timeout_s=0.01, late_reply_s=0.01)) as bus:
            for _ in answers:
                bus._next_try_s = 0.0
                with pytest.raises(BusError):
                    bus.read_registers(1, "holding", 100, 4)
