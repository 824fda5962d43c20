"""On a busy machine a thread wakes after its deadline: what came in time is an answer all the same."""

from __future__ import annotations

import time
from dataclasses import dataclass, field

import pytest

from collector.bus import Damaged, NoReply
from collector.bus.crc import with_crc
from collector.bus.late_replies import LateReplies
from collector.bus.pdu import Request, read_request
from collector.bus.rtu import RtuExchange

TIMEOUT_S = 0.05
REQUEST = read_request("holding", 0, 1)
ANSWER = with_crc(bytes.fromhex("01 03 02 00 2A"))


@dataclass
class SlowToWake:
    """A link of a machine so busy that each wait for a byte ends long after its time."""

    answer: bytes
    character_s: float = 0.0
    silence_s: float = 0.0
    waiting: bytes = b""
    waits_s: list[float] = field(default_factory=list)

    def send(self, frame: bytes) -> None:
        self.waits_s.clear()

    def receive(self, wait_s: float) -> bytes:
        """Miss the byte that comes meanwhile, as a thread does that is woken late; find it the next time."""
        self.waits_s.append(wait_s)
        came, self.waiting = self.waiting, b""
        if wait_s and not came:
            time.sleep(wait_s + 0.02)
            self.waiting = self.answer
        return came

    def close(self) -> None:
        """Nothing is open."""


def asked(link: SlowToWake, request: Request = REQUEST) -> bytes:
    late = LateReplies(late_reply_s=1.0)
    return RtuExchange(link, "a line", "19200 8E1", TIMEOUT_S, late).ask(1, request)  # type: ignore[arg-type]


def test_an_answer_that_lies_there_when_we_wake_too_late_is_taken() -> None:
    assert asked(SlowToWake(ANSWER)) == ANSWER[1:-2]


def test_the_rest_of_an_answer_that_began_in_time_is_waited_for() -> None:
    link = SlowToWake(ANSWER[:3])

    def rest(wait_s: float) -> bytes:
        came = SlowToWake.receive(link, wait_s)
        link.answer = ANSWER[3:] if came else link.answer
        return came

    link.receive = rest  # type: ignore[method-assign]
    assert asked(link) == ANSWER[1:-2]


def test_where_nothing_came_one_look_after_the_deadline_is_the_last() -> None:
    link = SlowToWake(b"")
    begun_s = time.monotonic()
    with pytest.raises(NoReply):
        asked(link)
    assert [bool(wait_s) for wait_s in link.waits_s] == [True, False]
    assert time.monotonic() - begun_s < 1.0


class Babbling(SlowToWake):
    """From the request on a byte is there at each look."""

    was_sent = False

    def send(self, frame: bytes) -> None:
        self.was_sent = True

    def receive(self, wait_s: float) -> bytes:
        return b"\x55" if self.was_sent else b""


def test_a_line_that_babbles_past_the_deadline_is_not_heard_for_ever() -> None:
    with pytest.raises(Damaged, match="bytes came but no good answer"):
        asked(Babbling(b""))
