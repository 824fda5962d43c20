"""What was read just before Enter is handed over, and nothing older in its place."""

from __future__ import annotations

import threading
from itertools import count

import pytest

from collector.bus import NoReply
from collector.matching import ReadingOn
from collector.matching.places import Image


def image(value: int) -> Image:
    return {("input", 0): value}


def test_the_newest_image_is_handed_over() -> None:
    numbers, third = count(1), threading.Event()

    def read() -> Image:
        number = next(numbers)
        if number == 3:
            third.set()
        return image(number)

    with ReadingOn(read, pause_s=0.0) as latest:
        assert third.wait(10)
    assert latest.image()[("input", 0)] >= 3


@pytest.mark.parametrize("trouble", [NoReply("no reply"), ValueError("an answer that no bus gives")])
def test_after_any_trouble_no_older_image_is_taken_for_the_newest(trouble: Exception) -> None:
    read_once, failed = threading.Event(), threading.Event()

    def read() -> Image:
        if read_once.is_set():
            failed.set()
            raise trouble
        read_once.set()
        return image(1)

    with ReadingOn(read, pause_s=0.0) as latest:
        assert failed.wait(10)
    with pytest.raises(type(trouble)):
        latest.image()
