"""Reading on while a person types: what the registers held just before Enter is what the panel showed.

The speed is changed after the prompt and before the typing, so an image from the time of the prompt is of the
state before.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Final

from collector.matching.places import Image

PAUSE_S: Final = 0.3
"""Between two images: a drive and a line shall not be kept busy for nothing."""


class ReadingOn:
    """Reads images in a thread for as long as it is entered; nothing else may use the bus meanwhile."""

    def __init__(self, read: Callable[[], Image], pause_s: float = PAUSE_S) -> None:
        self._read = read
        self._pause_s = pause_s
        self._enough = threading.Event()
        self._image: Image | None = None
        self._trouble: Exception | None = None
        self._thread = threading.Thread(target=self._run, name="registers", daemon=True)

    def __enter__(self) -> ReadingOn:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._enough.set()
        self._thread.join()

    def image(self) -> Image:
        """Return the newest image, once left; raises what the last try to read one failed of (BusError)."""
        if self._trouble is not None:
            raise self._trouble
        assert self._image is not None, "one pass at least is finished before the thread ends"
        return self._image

    def _run(self) -> None:
        while True:
            try:
                self._image, self._trouble = self._read(), None
            except Exception as error:
                # Whatever it is: the image before it is of a moment ago, and must not be taken for this one.
                self._trouble = error
            if self._enough.wait(self._pause_s):
                return
