"""Drives on the network themselves: Modbus TCP, where each answer carries its request's number."""

from __future__ import annotations

import time
from collections.abc import Mapping
from typing import Final

from pymodbus.framer import FramerSocket
from pymodbus.pdu import DecodePDU

from simulator.drives import Drive
from simulator.lines.disturbance import Answer, Disturbance, Trouble
from simulator.lines.network import LOOK_S, Listener, SocketWire
from simulator.lines.outgoing import Outgoing

_BETWEEN_PIECES_S: Final = 0.0001
_FRAMER: Final = FramerSocket(DecodePDU(is_server=True))


class ModbusTcp(Listener):
    """Drives behind one address, told apart by their unit number.

    Of the disturbances it takes late, short, foreign, wrong function, exception, silence and split.
    """

    def __init__(
        self,
        drives: Mapping[int, Drive],
        disturbance: Disturbance | None = None,
        seed: int = 0,
        host: str = "127.0.0.1",
        port: int = 0,
    ) -> None:
        super().__init__(host, port)
        self.drives = drives
        self.trouble = Trouble(disturbance or Disturbance(), seed)

    def serve(self, wire: SocketWire) -> None:
        """Answer on one connection until it ends, or until what comes is not this protocol."""
        connection = _Connection(wire, self.drives, self.trouble)
        while not self.stopping.is_set() and connection.turn():
            pass


class _Connection:
    """One master: what it has sent and is still to get."""

    def __init__(self, wire: SocketWire, drives: Mapping[int, Drive], trouble: Trouble) -> None:
        self._wire = wire
        self._drives = drives
        self._trouble = trouble
        self._outgoing = Outgoing()
        self._unread = b""

    def turn(self) -> bool:
        """Send what is due and take in what comes; false when the connection is at its end."""
        while (answer := self._outgoing.take(time.monotonic())) is not None:
            self._send(answer)
        data = self._wire.read(self._outgoing.next_s(time.monotonic(), LOOK_S))
        if data is None:
            return False
        self._unread += data
        return self._take_requests()

    def _take_requests(self) -> bool:
        while len(self._unread) >= FramerSocket.MIN_SIZE:
            if self._unread[2:4] != b"\0\0":
                return False
            used, unit_id, transaction_id, pdu = _FRAMER.decode(self._unread)
            if not used:
                break
            self._unread = self._unread[used:]
            self._ask(unit_id, transaction_id, pdu)
        return True

    def _ask(self, unit_id: int, transaction_id: int, pdu: bytes) -> None:
        drive = self._drives.get(unit_id)
        reply = drive.answer_bytes(pdu, transaction_id) if drive and pdu else None
        if drive is None or reply is None:
            return
        said = Answer(
            unit_id=unit_id, pdu=bytes([reply.function_code]) + reply.encode(), transaction_id=transaction_id
        )
        answer = self._trouble.of_content(said)
        if answer is not None:
            self._outgoing.put(unit_id, answer, time.monotonic(), drive.turn_around_s)

    def _send(self, answer: Answer) -> None:
        pieces = self._trouble.pieces(_FRAMER.encode(answer.pdu, answer.unit_id, answer.transaction_id))
        for piece in pieces:
            self._wire.write(piece)
            if len(pieces) > 1:
                time.sleep(_BETWEEN_PIECES_S)
