"""Whether a path can be a serial port at all, told without opening it: that would move its control lines."""

from __future__ import annotations

import os
import stat
import sys
from pathlib import Path
from typing import Final

_MEMORY_MAJOR: Final = 1
"""Linux's number for null, zero, random and their like (the kernel's list of devices, from memory)."""
LISTED: Final = "owncurve ports lists those of this machine"


def why_no_port(path: str) -> str:
    """Return in one line why what is at this path is no serial port; empty when it may be one.

    Empty too where nothing is there, as when an adapter is not plugged in, and on Windows, where a port is
    no file.

    >>> why_no_port("/dev")
    '/dev is a folder, not a serial port; owncurve ports lists those of this machine'
    """
    if sys.platform == "win32":
        return ""
    try:
        found = Path(path).stat()
    except OSError:
        return ""
    kind = _kind_of(found)
    return f"{path} is {kind}, not a serial port; {LISTED}" if kind else ""


def _kind_of(found: os.stat_result) -> str:
    if stat.S_ISCHR(found.st_mode):
        is_memory = sys.platform == "linux" and os.major(found.st_rdev) == _MEMORY_MAJOR
        return "a device of another kind" if is_memory else ""
    if stat.S_ISDIR(found.st_mode):
        return "a folder"
    return "a file" if stat.S_ISREG(found.st_mode) else "something else"
