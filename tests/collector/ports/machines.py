"""Machines of our own making: real files and links where Linux would show devices, drivers and processes."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from collector.ports import Roots


@dataclass
class ListedPort:
    """What the serial library would list; names are invented, the numbers are of no maker."""

    device: str
    description: str = "two-wire adapter"
    manufacturer: str | None = "Workshop"
    vid: int | None = 0xFFF0
    pid: int | None = 0x0001
    serial_number: str | None = "A1"


class Machine:
    """A folder with dev, sys and proc in it."""

    def __init__(self, root: Path) -> None:
        self.roots = Roots(dev=root / "dev", sys=root / "sys", proc=root / "proc")
        for folder in (self.roots.dev, self.roots.sys, self.roots.proc):
            folder.mkdir()
        self.listed: list[ListedPort] = []

    def plug_in(self, name: str, *, by_id: str | None = None, latency: str | None = None) -> str:
        """Make a device, and what Linux would show of it; return its path."""
        device = self.roots.dev / name
        device.touch()
        if by_id is not None:
            names = self.roots.dev / "serial/by-id"
            names.mkdir(parents=True, exist_ok=True)
            (names / by_id).symlink_to(device)
        if latency is not None:
            shown = self.roots.sys / "bus/usb-serial/devices" / name
            shown.mkdir(parents=True)
            (shown / "latency_timer").write_text(latency, encoding="ascii")
        self.listed.append(ListedPort(str(device)))
        return str(device)

    def process(self, pid: int, name: str, *opened: str) -> Path:
        """Make a process that has these paths open; return its folder."""
        process = self.roots.proc / str(pid)
        (process / "fd").mkdir(parents=True)
        (process / "comm").write_text(f"{name}\n", encoding="utf-8")
        for number, path in enumerate(opened):
            os.symlink(path, process / "fd" / str(number))
        return process
