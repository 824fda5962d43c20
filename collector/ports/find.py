"""Finding the serial ports of this machine, by what the serial library lists and what Linux shows of them."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from collector.ports.adapter import Adapter, Holders
from collector.ports.holders import holders_of
from collector.ports.latency import latency_file, latency_ms
from collector.ports.rights import rights_of, rights_trouble


class Listed(Protocol):
    """What the serial library says of a port."""

    device: str
    description: str
    manufacturer: str | None
    vid: int | None
    pid: int | None
    serial_number: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Roots:
    """Where Linux shows devices and processes."""

    dev: Path = Path("/dev")
    sys: Path = Path("/sys")
    proc: Path = Path("/proc")


def find_ports(
    roots: Roots = Roots(),
    listed: Callable[[], Iterable[Listed]] | None = None,
) -> tuple[Adapter, ...]:
    """Return the ports of this machine, by their paths; none when there are none."""
    return tuple(
        _adapter(port, roots) for port in sorted((listed or _listed)(), key=lambda port: port.device)
    )


def describe_port(
    path: str,
    roots: Roots = Roots(),
    listed: Callable[[], Iterable[Listed]] | None = None,
) -> Adapter | None:
    """Return what is known of one port, listed or not; ``None`` when there is no such port."""
    device = os.path.realpath(path)
    for port in (listed or _listed)():
        if path == port.device or device == os.path.realpath(port.device):
            return _adapter(port, roots)
    return _adapter(_unlisted(path), roots) if Path(path).exists() else None


def _listed() -> Iterable[Listed]:
    from serial.tools import list_ports

    return list_ports.comports()


def _unlisted(path: str) -> Listed:
    """Return a port of which nothing but its path is known."""
    from serial.tools.list_ports_common import ListPortInfo

    return ListPortInfo(path, skip_link_detection=True)


def _adapter(port: Listed, roots: Roots) -> Adapter:
    file = latency_file(Path(os.path.realpath(port.device)).name, roots.sys)
    rights = rights_of(Path(port.device))
    return Adapter(
        path=port.device,
        stable_path=_stable_path(port.device, roots.dev),
        words="" if port.description == "n/a" else port.description or "",
        maker_words=port.manufacturer or "",
        usb_vendor_id=port.vid,
        usb_product_id=port.pid,
        serial_number=port.serial_number,
        holders=_holders(port.device, roots),
        rights_trouble="" if rights is None else rights_trouble(port.device, rights),
        latency_timer_ms=None if file is None else latency_ms(file),
        latency_path=None if file is None else str(file),
    )


def _holders(device: str, roots: Roots) -> Holders | None:
    return holders_of(Path(device), roots.proc) if sys.platform == "linux" else None


def _stable_path(device: str, dev: Path) -> str | None:
    """Return the name under serial/by-id that leads to the device."""
    wanted = os.path.realpath(device)
    names = dev / "serial/by-id"
    found = sorted(names.iterdir()) if names.is_dir() else []
    return next((str(name) for name in found if os.path.realpath(name) == wanted), None)
