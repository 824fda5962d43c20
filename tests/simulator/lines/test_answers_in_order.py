"""A drive answers in the order in which it was asked, one answer at a time; the line keeps its own time."""

from __future__ import annotations

import random
import threading
import time

from simulator.lines import Disturbance, PacedLine
from simulator.lines.disturbance import Answer
from simulator.lines.outgoing import Outgoing
from tests.simulator.lines.masters import answer, drives, request


class Master:
    """A wire in memory that sends each request at its time [s] and notes what comes back."""

    def __init__(self, requests: dict[float, bytes], write_takes_s: float = 0.0) -> None:
        self.came = b""
        self._begin_s = time.monotonic()
        self._requests = sorted(requests.items())
        self._write_takes_s = write_takes_s

    def read(self, timeout_s: float) -> bytes:
        due_s = self._begin_s + self._requests[0][0] if self._requests else float("inf")
        time.sleep(max(0.0, min(timeout_s, due_s - time.monotonic())))
        return self._requests.pop(0)[1] if time.monotonic() >= due_s else b""

    def write(self, data: bytes) -> None:
        self.came += data
        time.sleep(self._write_takes_s)


def served(line: PacedLine, master: Master, for_s: float) -> bytes:
    stop = threading.Event()
    timer = threading.Timer(for_s, stop.set)
    timer.start()
    line.serve(master, stop)
    timer.join()
    return master.came


def test_a_drives_next_answer_waits_behind_its_late_one() -> None:
    line = PacedLine(drives(), 115_200, Disturbance(late=1.0, late_s=0.2))
    threading.Timer(0.05, lambda: setattr(line.trouble, "disturbance", Disturbance())).start()
    came = served(line, Master({0.0: request(1, 10, 3), 0.1: request(1, 10, 1)}), 0.5)
    assert came == answer(1, 1000, 0xFFFF, 640) + answer(1, 1000)


def test_another_drive_may_answer_before_a_late_one() -> None:
    line = PacedLine(drives(), 115_200, Disturbance(late=1.0, late_s=0.2))
    threading.Timer(0.05, lambda: setattr(line.trouble, "disturbance", Disturbance())).start()
    came = served(line, Master({0.0: request(1, 10, 1), 0.1: request(2, 10, 1)}), 0.5)
    assert came == answer(2, 2000) + answer(1, 1000)


def test_no_answer_of_a_drive_ever_passes_an_earlier_one() -> None:
    chance = random.Random(5)
    outgoing = Outgoing()
    for number in range(2000):
        drive = chance.randrange(3)
        late_s = 0.1 if chance.random() < 0.1 else 0.0
        said = Answer(unit_id=drive, pdu=number.to_bytes(2, "big"), delay_s=late_s)
        outgoing.put(drive, said, number * 0.005, turn_around_s=0.002)
    taken = list(iter(lambda: outgoing.take(1e9), None))
    assert len(taken) == 2000
    assert [said.pdu for said in taken] != sorted(said.pdu for said in taken)
    for drive in range(3):
        order = [said.pdu for said in taken if said is not None and said.unit_id == drive]
        assert order == sorted(order)


def test_a_line_held_up_while_it_writes_does_not_take_a_right_request_for_too_early() -> None:
    """The master hears the last character and begins 3.5 characters later, while the line still hangs."""
    line = PacedLine(drives(), 115_200)
    came = served(line, Master({0.0: request(1, 10, 1), 0.02: request(2, 10, 1)}, write_takes_s=0.1), 0.4)
    assert came == answer(1, 1000) + answer(2, 2000)
    assert line.seen["too early"] == 0
