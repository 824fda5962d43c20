"""The only door to a drive. It opens the link when it must, and asks nothing but reads."""

from __future__ import annotations

import time
from collections.abc import Callable
from types import TracebackType
from typing import Final, Protocol

from collector.bus.errors import NoLink, NoReply
from collector.bus.late_replies import LateReplies
from collector.bus.links import Link, open_link
from collector.bus.mbap import LostFraming, TcpExchange
from collector.bus.pdu import (
    BitTable,
    Identification,
    RegisterTable,
    Request,
    identify_request,
    parse_identification,
    read_request,
)
from collector.bus.rtu import RtuExchange
from collector.bus.tap import Tap
from collector.site import Bus

FIRST_WAIT_S: Final = 0.5
LONGEST_WAIT_S: Final = {"serial": 2.0, "tcp": 30.0, "rtu_over_tcp": 30.0}
"""Between two tries to open. A port costs nothing to try; a network host that is away costs its time-out."""
SILENT_READS: Final = 3
"""Silent reads in a row after which a connection counts as half open and is closed."""


class _Exchange(Protocol):
    def ask(self, unit: int, request: Request) -> bytes:
        """Send the request and return the PDU of its answer, or raise one of the bus errors."""


class ReadOnlyBus:
    """A bus that can only be read: function codes 1 to 4 and 43/14, one request at a time, from one thread.

    Nothing is asked twice: whether and when to ask again is the caller's decision. The link is opened at
    the first read and again after it was lost, waiting between tries 0.5 s, doubling to 2 s for a serial
    port and to 30 s for a host. ``tap`` is told of every byte. After ``silent_reads`` in a row a network
    connection counts as half open and is closed; who asks addresses where nobody may be allows more. ``late``
    may be a guard that guards nothing, for who keeps no value that is read. ``before_open`` is called each
    time before the link is opened, and keeps it closed by raising NoLink.

    Every read raises NoLink, NoReply, Damaged, Echo or Refused; ValueError for a request that no drive
    could answer.
    """

    def __init__(
        self,
        bus: Bus,
        *,
        tap: Tap | None = None,
        silent_reads: int = SILENT_READS,
        late: LateReplies | None = None,
        before_open: Callable[[], None] = lambda: None,
    ) -> None:
        self._bus = bus
        self._tap = tap
        self._most_silent_reads = silent_reads
        self._late = late or LateReplies(bus.late_reply_s)
        self._before_open = before_open
        self._link: Link | None = None
        self._exchange: _Exchange | None = None
        self._silent_reads = 0
        self._wait_s = FIRST_WAIT_S
        self._next_try_s = 0.0
        self._last_trouble = ""

    def __enter__(self) -> ReadOnlyBus:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    @property
    def is_open(self) -> bool:
        """Whether the link is open."""
        return self._link is not None

    @property
    def next_try_s(self) -> float:
        """When opening will be tried again, on the monotonic clock [s]."""
        return self._next_try_s

    def quiet_left_s(self, unit: int) -> float:
        """Return how long the next read of a unit may have to wait for late answers first [s]."""
        return self._late.quiet_left_s(unit, time.monotonic())

    def connect(self) -> None:
        """Open the link if it is not; NoLink when that fails, at once while it is too early to try again."""
        self._connected()

    def close(self) -> None:
        """Close the link; the next read opens it again."""
        if self._link is not None:
            self._link.close()
        self._link = self._exchange = None
        self._silent_reads = 0

    def read_registers(
        self, unit: int, table: RegisterTable, address: int, count: int, whole_counts: tuple[int, ...] = ()
    ) -> bytes:
        """Read 1 to 125 registers from a zero-based address: two bytes each, as they came over the wire.

        ``whole_counts`` are smaller counts that cut no value in two: after a time-out one of them is asked
        first (see ``late_replies``), and a drive that refuses half a value answers it.
        """
        return self._ask(unit, read_request(table, address, count, whole_counts))[2:]

    def read_bits(self, unit: int, table: BitTable, address: int, count: int) -> tuple[bool, ...]:
        """Read 1 to 2000 coils or discrete inputs from a zero-based address."""
        data = self._ask(unit, read_request(table, address, count))[2:]
        return tuple(bool(data[place // 8] >> (place % 8) & 1) for place in range(count))

    def identify(self, unit: int) -> Identification:
        """Ask a drive for its basic identification (function 43/14)."""
        objects: dict[int, str] = {}
        place: int | None = 0
        while place is not None:
            part = parse_identification(self._ask(unit, identify_request(place)))
            objects.update(part.objects)
            place = part.next_object
        return Identification(objects=objects)

    def _ask(self, unit: int, request: Request) -> bytes:
        if not 0 <= unit <= 255 or (self._bus.kind != "tcp" and not 1 <= unit <= 247):
            raise ValueError(f"no drive can have the unit number {unit}")
        exchange = self._connected()
        try:
            pdu = exchange.ask(unit, request)
        except (NoLink, LostFraming) as error:
            self._lost(str(error))
            raise
        except NoReply:
            self._count_silence()
            raise
        # Only an answer shows that a link is good: a half-open one connects each time.
        self._silent_reads = 0
        self._wait_s = FIRST_WAIT_S
        return pdu

    def _count_silence(self) -> None:
        self._silent_reads += 1
        if self._bus.kind != "serial" and self._silent_reads >= self._most_silent_reads:
            self._lost(f"{self._bus.place}: connected, but {self._silent_reads} reads in a row got no answer")

    def _connected(self) -> _Exchange:
        if self._exchange is not None:
            return self._exchange
        if time.monotonic() < self._next_try_s:
            raise NoLink(self._last_trouble)
        try:
            self._before_open()
            self._link = open_link(self._bus, self._tap)
        except NoLink as error:
            self._lost(str(error))
            raise
        self._exchange = self._exchange_over(self._link)
        return self._exchange

    def _exchange_over(self, link: Link) -> _Exchange:
        bus = self._bus
        if bus.kind == "tcp":
            return TcpExchange(link, bus.place, bus.timeout_s)
        settings = "the gateway's serial settings, wires and termination"
        if bus.kind == "serial":
            settings = f"the baud rate and parity (now {bus.line_setting.words}), wires, termination"
        return RtuExchange(link, bus.place, settings, bus.timeout_s, self._late)

    def _lost(self, trouble: str) -> None:
        """Close, and wait before the next try, longer each time: a host that is away is not pestered."""
        self.close()
        self._last_trouble = trouble
        self._next_try_s = time.monotonic() + self._wait_s
        self._wait_s = min(2 * self._wait_s, LONGEST_WAIT_S[self._bus.kind])
