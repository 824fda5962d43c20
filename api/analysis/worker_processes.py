"""Processes that look at pumps side by side, and end with the one that started them, however it ends."""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from multiprocessing import active_children, get_context, parent_process, resource_tracker
from multiprocessing.connection import wait


def worker_processes(count: int) -> ProcessPoolExecutor:
    """Return a pool of this many processes.

    They start afresh: a forked copy of an open database connection is not safe to use.
    """
    return ProcessPoolExecutor(count, mp_context=get_context("spawn"), initializer=end_with_parent)


@contextmanager
def starting() -> Iterator[None]:
    """Hold Ctrl-C back while processes are started, which inherit this: their answer is that of us all."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    resource_tracker.ensure_running()  # As it starts it would let Ctrl-C through again.
    held: list[int] = []
    is_main = threading.current_thread() is threading.main_thread()
    # The mask is for the children; here another thread may still take the signal on behalf of this one.
    handler = signal.signal(signal.SIGINT, lambda number, _: held.append(number)) if is_main else None
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
        if is_main:
            signal.signal(signal.SIGINT, handler)
    if held:
        signal.raise_signal(signal.SIGINT)


def end_workers() -> None:
    """End the processes that were started here: what they look at is not wanted any more."""
    for process in active_children():
        process.terminate()


def end_with_parent() -> None:
    """Leave Ctrl-C to the parent, and end when it is gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_wait_for_the_end, name="parent", daemon=True).start()


def _wait_for_the_end() -> None:
    parent = parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(1)
