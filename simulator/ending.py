"""When a simulator process is to end: at SIGTERM, at Ctrl-C, and when its parent has gone."""

from __future__ import annotations

import os
import signal
import sys
import threading
from collections.abc import Callable


def told_to_end(heed: Callable[[bytes], None]) -> threading.Event:
    """Return an event that is set when the process is to end; ``heed`` gets each line of standard input.

    Call it on the main thread. When standard input closes, the parent is gone.
    """
    told = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: told.set())
    threading.Thread(target=_heed_input, args=(heed, told), name="input", daemon=True).start()
    return told


def _heed_input(heed: Callable[[bytes], None], told: threading.Event) -> None:
    # At a terminal nobody closes it; read raw, since a buffered reader's lock would outlive the thread.
    heard = b""
    try:
        if sys.stdin is not None and not sys.stdin.isatty():
            while data := os.read(sys.stdin.fileno(), 1024):
                *lines, heard = (heard + data).split(b"\n")
                for line in lines:
                    heed(line)
            told.set()
    except OSError:
        told.set()
