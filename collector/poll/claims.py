"""One master on a line, one poller of a database: claims that the system itself gives up when we end.

The serial port is also locked while it is open. That is not enough alone: the port is closed and opened
again while its adapter is away, and a second poller of the same gateways would double every reading.
"""

from __future__ import annotations

import hashlib
import os
import sys
import tempfile
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

from collector.bus import port_trouble_at_start
from collector.site import Site

_NEVER_WRITTEN = 1 << 20
"""Where Windows locks: it locks bytes, and the first ones hold the number that others read."""


class AlreadyClaimed(Exception):
    """Another process has the database or the line; one sentence that says which and who."""


@contextmanager
def claim_site(site: Site, database: Path) -> Iterator[None]:
    """Hold the site's database and serial ports for polling by this process alone.

    Claims end with the process, however it ends; the small files that carry them stay.

    Raises
    ------
    AlreadyClaimed
        At once, when another process polls into this database or speaks on one of these ports.
    """
    with ExitStack() as claims:
        owner = _claim(claims, database.with_name(f"{database.name}.polling"))
        if owner is not None:
            raise AlreadyClaimed(
                f"{site.path} is already being polled by process {owner}; two masters on one line damage "
                "each other's traffic, so end that one first"
            )
        for bus in site.buses:
            if bus.kind == "serial" and site.pumps_on(bus):
                _claim_port(claims, bus.place)
        yield


def _claim_port(claims: ExitStack, port: str) -> None:
    owner = _claim(claims, _port_file(port))
    if owner is not None:
        raise AlreadyClaimed(
            f"{port}: the port is in use by another program (process {owner}); only one may speak on a line, "
            "so stop the other first"
        )
    trouble = port_trouble_at_start(port)
    if trouble is not None:
        raise AlreadyClaimed(f"{port}: {trouble}")


def _port_file(port: str) -> Path:
    """Return the file that stands for a port, the same by whatever name the port is called."""
    name = hashlib.sha256(os.path.realpath(port).encode()).hexdigest()[:16]
    return Path(tempfile.gettempdir()) / f"owncurve-port-{name}.lock"


def _claim(claims: ExitStack, path: Path) -> str | None:
    """Take the file for as long as the claims are held; return the process that has it already."""
    try:
        descriptor = _opened(path)
    except OSError:
        # Somebody else's file in a shared folder, or a folder we may not write: the port's own lock remains.
        return None
    claims.callback(os.close, descriptor)
    if _locked(descriptor):
        _write_owner(descriptor)
        return None
    return os.read(descriptor, 20).decode("ascii", "replace").strip() or "unknown"


def _opened(path: Path) -> int:
    try:
        return os.open(path, os.O_RDWR)
    except FileNotFoundError:
        return os.open(path, os.O_RDWR | os.O_CREAT, 0o666)
    except PermissionError:
        # Another user's: enough to see whether it is held.
        return os.open(path, os.O_RDONLY)


def _locked(descriptor: int) -> bool:
    try:
        if sys.platform == "win32":
            import msvcrt

            os.lseek(descriptor, _NEVER_WRITTEN, os.SEEK_SET)
            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
            os.lseek(descriptor, 0, os.SEEK_SET)
        else:
            import fcntl

            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        os.lseek(descriptor, 0, os.SEEK_SET)
        return False
    return True


def _write_owner(descriptor: int) -> None:
    try:
        os.ftruncate(descriptor, 0)
        os.write(descriptor, f"{os.getpid()}\n".encode())
    except OSError:
        pass  # Held all the same; only the number is missing.
