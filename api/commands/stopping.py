"""Ctrl-C as a wish to end early: what was found until then is still told."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def stop_at_ctrl_c() -> Iterator[threading.Event]:
    """Give an event that Ctrl-C or SIGTERM sets for as long as the block lasts."""
    stop = threading.Event()
    before = {
        number: signal.signal(number, lambda *_: stop.set()) for number in (signal.SIGINT, signal.SIGTERM)
    }
    try:
        yield stop
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
