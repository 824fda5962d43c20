"""Fake drives for tests: a real pseudo-terminal or socket, and a function that decides what goes back.

Written for the tests alone, without the code under test: its checksum is the bitwise textbook form.
"""

from __future__ import annotations

import os
import pty
import select
import socket
import struct
import threading
import time
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from collector.site import Bus

Reply = bytes | list[tuple[float, bytes]]
"""Bytes at once, or lumps with the wait before each [s]."""
Behaviour = Callable[[bytes], Reply]


def crc(data: bytes) -> bytes:
    value = 0xFFFF
    for byte in data:
        value ^= byte
        for _ in range(8):
            value = (value >> 1) ^ 0xA001 if value & 1 else value >> 1
    return struct.pack("<H", value)


def framed(data: bytes) -> bytes:
    return data + crc(data)


def registers(address: int, count: int) -> bytes:
    """Each register holds its own address: a value that belongs to another request shows at once."""
    return b"".join(struct.pack(">H", place & 0xFFFF) for place in range(address, address + count))


def honest(request: bytes) -> bytes:
    """Answer a read of function 3 or 4 as a drive should."""
    unit, function, address, count = struct.unpack(">BBHH", request[:6])
    return framed(bytes((unit, function, 2 * count)) + registers(address, count))


@dataclass
class Device:
    """What a fake drive saw: requests with their times of arrival [s, monotonic], and when it last spoke."""

    place: str = ""
    port: int = 0
    requests: list[bytes] = field(default_factory=list)
    arrived_s: list[float] = field(default_factory=list)
    spoke_s: list[float] = field(default_factory=list)

    def note(self, request: bytes) -> None:
        self.requests.append(request)
        self.arrived_s.append(time.monotonic())

    def silences_s(self) -> list[float]:
        """How long the line was silent before each request that followed an answer."""
        silences = []
        for arrived_s in self.arrived_s:
            before = [spoke_s for spoke_s in self.spoke_s if spoke_s < arrived_s]
            if before:
                silences.append(arrived_s - before[-1])
        return silences


def _send_lumps(send: Callable[[bytes], object], reply: Reply, device: Device) -> None:
    for wait_s, lump in [(0.0, reply)] if isinstance(reply, bytes) else reply:
        time.sleep(wait_s)
        if lump:
            device.spoke_s.append(time.monotonic())
            send(lump)


def _request_size(request: bytes) -> int:
    return 7 if request[1:2] == b"\x2b" else 8


@contextmanager
def on_pseudo_terminal(behave: Behaviour) -> Iterator[Device]:
    """Run a fake drive at the other end of a real pseudo-terminal; late lumps do not block new requests."""
    master, slave = pty.openpty()
    tty.setraw(slave)
    device = Device(place=os.ttyname(slave))
    stop_read, stop_write = os.pipe()

    def serve() -> None:
        buffer = b""
        while True:
            ready, _, _ = select.select([master, stop_read], [], [])
            if stop_read in ready:
                return
            buffer += os.read(master, 4096)
            while len(buffer) >= (size := _request_size(buffer)):
                request, buffer = buffer[:size], buffer[size:]
                device.note(request)
                reply = behave(request)
                if isinstance(reply, bytes):
                    _send_lumps(lambda lump: os.write(master, lump), reply, device)
                else:
                    later = threading.Thread(
                        target=_send_lumps, args=(lambda lump: os.write(master, lump), reply, device)
                    )
                    later.start()
                    workers.append(later)

    workers: list[threading.Thread] = []
    thread = threading.Thread(target=serve)
    thread.start()
    try:
        yield device
    finally:
        os.write(stop_write, b"x")
        for worker in (thread, *workers):
            worker.join()
        for descriptor in (master, slave, stop_read, stop_write):
            os.close(descriptor)


@contextmanager
def on_socket(serve: Callable[[socket.socket, Device], None], port: int = 0) -> Iterator[Device]:
    """Accept on 127.0.0.1, one connection after another, and let ``serve`` speak on each."""
    listener = socket.create_server(("127.0.0.1", port))
    device = Device(place="127.0.0.1", port=listener.getsockname()[1])
    ended = threading.Event()

    def accept() -> None:
        while True:
            connection, _ = listener.accept()
            with connection:
                if ended.is_set():
                    return
                try:
                    serve(connection, device)
                except OSError:
                    continue

    thread = threading.Thread(target=accept)
    thread.start()
    try:
        yield device
    finally:
        ended.set()
        socket.create_connection(("127.0.0.1", device.port)).close()
        thread.join()
        listener.close()


def each_request(behave: Behaviour, *, header: bool) -> Callable[[socket.socket, Device], None]:
    """Serve requests one by one: of 12 bytes with a TCP header, of 8 without."""

    def serve(connection: socket.socket, device: Device) -> None:
        size = 12 if header else 8
        buffer = b""
        while data := connection.recv(4096):
            buffer += data
            while len(buffer) >= size:
                request, buffer = buffer[:size], buffer[size:]
                device.note(request)
                _send_lumps(connection.sendall, behave(request), device)

    return serve


def honest_tcp(request: bytes) -> bytes:
    """Answer a read with a TCP header as a drive should."""
    transaction, _, _, unit, function, address, count = struct.unpack(">HHHBBHH", request)
    pdu = bytes((function, 2 * count)) + registers(address, count)
    return struct.pack(">HHHB", transaction, 0, len(pdu) + 1, unit) + pdu


def serial_bus(device: Device, **settings: object) -> Bus:
    return Bus.model_validate(
        {
            "name": "line",
            "kind": "serial",
            "port": device.place,
            "baud": 115_200,
            "timeout_s": 0.5,
            **settings,
        }
    )


def tcp_bus(device: Device, kind: str = "tcp", **settings: object) -> Bus:
    return Bus.model_validate(
        {"name": "net", "kind": kind, "host": "127.0.0.1", "port": device.port, "timeout_s": 0.5, **settings}
    )
