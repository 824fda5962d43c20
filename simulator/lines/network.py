"""Drives behind sockets on 127.0.0.1: Modbus TCP, and RTU frames over TCP in front of a paced line."""

from __future__ import annotations

import select
import socket
import threading
import time
from collections.abc import Mapping
from typing import Final

from pymodbus.exceptions import ModbusIOException
from pymodbus.framer import FramerSocket
from pymodbus.pdu import DecodePDU, ModbusPDU

from simulator.drives import Drive
from simulator.lines.paced_line import PacedLine

_LOOK_S: Final = 0.1


class _SocketWire:
    def __init__(self, connection: socket.socket) -> None:
        self._connection = connection

    def read(self, timeout_s: float) -> bytes | None:
        ready, _, _ = select.select([self._connection], [], [], timeout_s)
        if not ready:
            return b""
        try:
            return self._connection.recv(4096) or None
        except OSError:
            return None

    def write(self, data: bytes) -> None:
        try:
            self._connection.sendall(data)
        except OSError:
            pass  # The master has gone; what it does not take is lost.


class _Listener:
    """Accepts on a free port of 127.0.0.1 and gives each connection a thread."""

    def __init__(self, host: str = "127.0.0.1", port: int = 0) -> None:
        self._listening = socket.create_server((host, port))
        self._listening.settimeout(_LOOK_S)
        self.host, self.port = self._listening.getsockname()[:2]
        self._stop = threading.Event()
        self._threads = [threading.Thread(target=self._accept, name=f"listen {self.port}", daemon=True)]

    def start(self) -> None:
        """Begin to accept."""
        self._threads[0].start()

    def stop(self) -> None:
        """End all connections and free the port."""
        self._stop.set()
        for thread in self._threads:
            thread.join()
        self._listening.close()

    def _accept(self) -> None:
        while not self._stop.is_set():
            try:
                connection, _ = self._listening.accept()
            except TimeoutError:
                continue
            connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            thread = threading.Thread(target=self._one, args=(connection,), daemon=True)
            self._threads.append(thread)
            thread.start()

    def _one(self, connection: socket.socket) -> None:
        with connection:
            self._serve(_SocketWire(connection))

    def _serve(self, wire: _SocketWire) -> None:
        raise NotImplementedError


class RtuOverTcp(_Listener):
    """A device server: RTU frames over TCP, and a paced serial line behind it."""

    def __init__(self, line: PacedLine, host: str = "127.0.0.1", port: int = 0) -> None:
        super().__init__(host, port)
        self.line = line
        self._one_at_a_time = threading.Lock()

    def _serve(self, wire: _SocketWire) -> None:
        with self._one_at_a_time:
            self.line.serve(wire, self._stop)


class ModbusTcp(_Listener):
    """Drives behind one address with Modbus TCP frames, told apart by their unit number."""

    def __init__(self, drives: Mapping[int, Drive], host: str = "127.0.0.1", port: int = 0) -> None:
        super().__init__(host, port)
        self.drives = drives

    def _serve(self, wire: _SocketWire) -> None:
        framer = FramerSocket(DecodePDU(is_server=True))
        waiting = b""
        while not self._stop.is_set():
            data = wire.read(_LOOK_S)
            if data is None:
                return
            waiting = self._answer_all(wire, framer, waiting + data) if data else waiting

    def _answer_all(self, wire: _SocketWire, framer: FramerSocket, data: bytes) -> bytes:
        """Answer every whole request and return what is left over."""
        while data:
            used, request = _next_request(framer, data)
            data = data[used:]
            if request is not None:
                self._answer(wire, framer, request)
            if not used:
                break
        return data

    def _answer(self, wire: _SocketWire, framer: FramerSocket, request: ModbusPDU) -> None:
        drive = self.drives.get(request.dev_id)
        reply = drive.answer(request) if drive else None
        if drive and reply:
            time.sleep(drive.turn_around_s)
            wire.write(framer.buildFrame(reply))


def _next_request(framer: FramerSocket, data: bytes) -> tuple[int, ModbusPDU | None]:
    try:
        return framer.handleFrame(data, 0, 0)
    except ModbusIOException:
        return len(data), None
