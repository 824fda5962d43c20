"""Bytes out and bytes in, over a serial port or a socket. What they mean is not known here."""

from __future__ import annotations

import errno
import os
import select
import socket
import sys
from typing import Final, Protocol

import serial

from collector.bus.errors import NoLink
from collector.bus.line_setting import silence_s
from collector.bus.tap import NoTap, Tap
from collector.site import Bus

if sys.platform == "win32":
    _SettingsError = OSError
else:
    # Not an OSError, and the serial library lets it through.
    from termios import error as _SettingsError

LUMP_BYTES: Final = 4096
LONGEST_OPENING_S: Final = 3.0
_IN_USE: Final = frozenset({errno.EBUSY, errno.EAGAIN, errno.EWOULDBLOCK})


class Link(Protocol):
    """An open way to the drives of one bus. Every method raises NoLink when the way is lost."""

    character_s: float
    """The time of one character on the line [s]; 0 where the line is beyond a gateway."""
    silence_s: float
    """The silence that must separate frames [s]."""

    def send(self, frame: bytes) -> None:
        """Send all of it."""

    def receive(self, wait_s: float) -> bytes:
        """Return what has come, waiting at most this long [s] for the first byte; empty when none came."""

    def close(self) -> None:
        """Give the port or socket back."""


def open_link(bus: Bus, tap: Tap | None = None) -> Link:
    """Open the bus's port or socket; NoLink in one sentence when it cannot be."""
    kind = SerialLink if bus.kind == "serial" else SocketLink
    return kind(bus, tap or NoTap())


class SerialLink:
    """A serial port, opened for us alone."""

    def __init__(self, bus: Bus, tap: Tap) -> None:
        self._tap = tap
        setting = bus.line_setting
        self.character_s, self.silence_s = setting.character_s, setting.silence_s
        self._place = bus.place
        self._port = _open_port(bus)
        self._poll = select.poll() if sys.platform != "win32" else None
        if self._poll is not None:
            self._poll.register(self._port.fileno(), select.POLLIN)

    def send(self, frame: bytes) -> None:
        """Send all of it."""
        try:
            self._port.write(frame)
        except OSError as error:
            raise NoLink(f"{self._place}: the port was lost ({error}); is the adapter plugged in?") from error
        self._tap.sent(frame)

    def receive(self, wait_s: float) -> bytes:
        """Return what has come, waiting at most this long [s] for the first byte; empty when none came."""
        try:
            data = self._read(wait_s)
        except OSError as error:
            raise NoLink(f"{self._place}: the port was lost ({error}); is the adapter plugged in?") from error
        if data is None:
            raise NoLink(f"{self._place}: the port was lost; is the adapter plugged in?")
        if data:
            self._tap.came(data)
        return data

    def _read(self, wait_s: float) -> bytes | None:
        if self._poll is None:
            self._port.timeout = wait_s
            return self._port.read(1) + self._port.read(self._port.in_waiting)
        # The library waits byte by byte; one wait for whatever came costs a fraction of the processor time.
        if not self._poll.poll(wait_s * 1000):
            return b""
        return os.read(self._port.fileno(), LUMP_BYTES) or None

    def close(self) -> None:
        """Give the port back."""
        self._port.close()


def _open_port(bus: Bus) -> serial.Serial:
    try:
        # Without a port it is not opened yet: what is set before the opening holds from its first instant.
        port = serial.Serial(
            baudrate=bus.baud,
            parity=bus.parity,
            stopbits=bus.stop_bits,
            timeout=0,
            write_timeout=LONGEST_OPENING_S,
            exclusive=True,
        )
        _lower_lines(port)
        port.port = bus.place
        port.open()
        return port
    except _SettingsError as error:
        raise NoLink(
            f"{bus.place}: the port does not take the settings {bus.line_setting.words} ({error.args[-1]})"
        ) from error
    except (OSError, ValueError) as error:
        raise NoLink(f"{bus.place}: {why_not(bus.place, error)}") from error


def _lower_lines(port: serial.Serial) -> None:
    """Have RTS and DTR low from the opening on; the library would raise both.

    An adapter that switches its transmitter on by RTS would hold the whole line for as long as the port is
    open, so that no drive could answer and no other master speak (common practice).
    """
    port.rts = False
    port.dtr = False


def port_trouble_at_start(port: str) -> str | None:
    """Return why nobody may speak on this port now because another program does; ``None`` when it is free.

    Other troubles, such as an adapter that is not plugged in yet, are left to the polling: it waits for them.
    """
    if sys.platform == "win32":
        return None  # There a port opens once, and the first scan says so.
    import fcntl

    try:
        descriptor = os.open(port, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
    except OSError as error:
        return why_not(port, error) if error.errno in _IN_USE else None
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        return why_not(port, error) if error.errno in _IN_USE else None
    finally:
        os.close(descriptor)
    return None


def why_not(port: str, error: Exception) -> str:
    """Return why a port cannot be opened, and what to do about it."""
    code = getattr(error, "errno", None)
    if code in _IN_USE:
        return "the port is in use by another program; only one may speak on a line, so stop the other first"
    if code == errno.EACCES:
        return f"no permission; add yourself to the group {_group_of(port)!r} and log in again"
    if code in (errno.ENOENT, errno.ENXIO, errno.ENODEV):
        return "there is no such port; is the adapter plugged in? A stable name is under /dev/serial/by-id"
    return f"cannot be opened: {error}"


def _group_of(port: str) -> str:
    if sys.platform == "win32":
        return "Administrators"
    import grp

    try:
        return grp.getgrgid(os.stat(port).st_gid).gr_name
    except (OSError, KeyError):
        return "dialout"


class SocketLink:
    """A connection to a gateway or a drive on the network."""

    def __init__(self, bus: Bus, tap: Tap) -> None:
        self._tap = tap
        self.character_s = 0.0
        # A gateway that hands bytes on as they come would run two frames into one without it.
        self.silence_s = silence_s(bus.line_baud) if bus.kind == "rtu_over_tcp" else 0.0
        self._place = bus.place
        wait_s = max(bus.timeout_s, LONGEST_OPENING_S)
        try:
            self._socket = socket.create_connection((bus.host or "", bus.tcp_port), timeout=wait_s)
        except (OSError, UnicodeError) as error:
            raise NoLink(f"{bus.place}: no connection ({_reason(error)})") from error
        self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    def send(self, frame: bytes) -> None:
        """Send all of it."""
        try:
            self._socket.settimeout(LONGEST_OPENING_S)
            self._socket.sendall(frame)
        except OSError as error:
            raise NoLink(f"{self._place}: the connection was lost ({_reason(error)})") from error
        self._tap.sent(frame)

    def receive(self, wait_s: float) -> bytes:
        """Return what has come, waiting at most this long [s] for the first byte; empty when none came."""
        try:
            self._socket.settimeout(wait_s)
            data = self._socket.recv(LUMP_BYTES)
        except (TimeoutError, BlockingIOError):
            return b""
        except OSError as error:
            raise NoLink(f"{self._place}: the connection was lost ({_reason(error)})") from error
        if not data:
            raise NoLink(f"{self._place}: the other side closed the connection")
        self._tap.came(data)
        return data

    def close(self) -> None:
        """Give the socket back."""
        self._socket.close()


def _reason(error: Exception) -> str:
    return (error.strerror if isinstance(error, OSError) and error.strerror else str(error)) or "timed out"
