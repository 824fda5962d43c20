"""A child process that ends when its parent does, on every system, however the parent ended."""

from __future__ import annotations

import os
import signal
import sys
import threading
from typing import Final

LIFELINE_VARIABLE: Final = "OWNCURVE_LIFELINE"
"""Set for a child whose standard input is a pipe that its parent holds open for as long as it lives."""


def hold_on_to_parent() -> None:
    """If this process was started with a lifeline, interrupt it once standard input closes."""
    if os.environ.get(LIFELINE_VARIABLE) == "1":
        threading.Thread(target=_wait_for_the_end, name="lifeline", daemon=True).start()


def _wait_for_the_end() -> None:
    # The raw descriptor: a buffered reader's lock would be held while the interpreter shuts down.
    while os.read(sys.stdin.fileno(), 1024):
        pass
    if sys.platform == "win32":
        signal.raise_signal(signal.SIGINT)
    else:
        # Sent to the process, so that a sleeping main thread wakes.
        os.kill(os.getpid(), signal.SIGINT)
