"""Which processes have a port open, by the links that Linux keeps under /proc."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

from collector.ports.adapter import Holder, Holders


def holders_of(port: Path, proc: Path = Path("/proc")) -> Holders:
    """Return who has the port open, this process left out.

    Linux shows the open files of other users' processes to root only: those are counted as hidden.
    """
    device = os.path.realpath(port)
    seen = []
    hidden = 0
    for process in _processes(proc):
        try:
            if _has_open(process, device):
                seen.append(Holder(pid=int(process.name), name=_name_of(process)))
        except PermissionError:
            hidden += 1
        except OSError:
            continue  # It ended while we looked.
    return Holders(seen=tuple(seen), hidden_processes=hidden)


def _processes(proc: Path) -> Iterator[Path]:
    numbers = sorted(int(entry.name) for entry in proc.iterdir() if entry.name.isdigit())
    return (proc / str(number) for number in numbers if number != os.getpid())


def _has_open(process: Path, device: str) -> bool:
    return any(_leads_to(entry, device) for entry in (process / "fd").iterdir())


def _leads_to(entry: Path, device: str) -> bool:
    try:
        return os.readlink(entry) == device
    except FileNotFoundError:
        return False  # Closed while we looked.


def _name_of(process: Path) -> str:
    try:
        return (process / "comm").read_text(encoding="utf-8", errors="replace").strip()
    except OSError:
        return "a process that has just ended"
