"""What became of one request, judged by the bytes alone."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from collector.bus.crc import CRC_BYTES
from collector.bus.pdu import EXCEPTION_FLAG, IDENTIFY, Shape
from collector.bus.rtu_frames import Frame, frames_in
from collector.survey.foreign import HeardRequest, requests_in
from collector.survey.said import Said

GATEWAY_CODES: Final = frozenset({10, 11})
"""No path to the drive, no answer from the drive: a gateway says this, not a drive (application protocol
V1.1b3, section 7; from memory)."""
LEAST_DAMAGED: Final = 4
"""Fewer stray bytes are a driver switching on or off, not an answer that was hurt (common practice)."""
_LITTLE_SHORTER: Final = 2
"""An exception in place of one register [bytes]."""
_TIMED_BYTES: Final = 16
"""Longer answers come in lumps, and their times add up to what is not the drive's."""
_HEADER_BYTES: Final = 7


class Outcome(StrEnum):
    """What became of a request."""

    ANSWERED = "answered"
    REFUSED = "refused"
    NO_PATH = "no_path"
    """A gateway's word that nobody is there."""
    DAMAGED = "damaged"
    ECHO_ONLY = "echo_only"
    SILENT = "silent"


@dataclass(frozen=True, slots=True, kw_only=True)
class AnswerHeard:
    """A sound answer of ``unit``; ``shape`` is all it says of its request, ``begins_s`` [s, monotonic]."""

    unit: int
    shape: Shape
    begins_s: float

    def fits(self, request: bytes) -> bool:
        """Return whether it can answer the request; an exception answers any of its function."""
        return self.unit == request[0] and _fits(self.shape, request)


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What became of a request to ``unit``; ``request`` are its bytes, the rest of a TCP header left out.

    ``answer_bytes`` is how long the answer should be (0 where that cannot be said). ``turn_around_s`` [s] is
    the time from the end of the request to the beginning of the answer, as far as the adapter lets it be
    seen. ``bytes_heard`` are those beyond our own echo. ``heard`` are all sound answers that came until the
    next request, of whatever unit. ``foreign`` are sound requests that are not ours.
    """

    unit: int
    request: bytes
    request_ends_s: float
    outcome: Outcome
    answer_bytes: int
    bytes_heard: int
    echoed: bool = False
    turn_around_s: float | None = None
    heard: tuple[AnswerHeard, ...] = ()
    foreign: tuple[HeardRequest, ...] = ()

    @property
    def is_from_drive(self) -> bool:
        """Whether a drive answered; a refusal is an answer."""
        return self.outcome in (Outcome.ANSWERED, Outcome.REFUSED)

    @property
    def is_silent(self) -> bool:
        """Whether nothing came but perhaps our own echo."""
        return self.outcome in (Outcome.SILENT, Outcome.ECHO_ONLY)

    @property
    def own(self) -> AnswerHeard | None:
        """The answer to the request itself: the last one that fits it, since those before it may be late."""
        return next((each for each in reversed(self.heard) if each.fits(self.request)), None)


def judge_serial_frames(said: Said, character_s: float) -> Verdict:
    """Judge a request in serial framing; ``character_s`` [s] is 0 where the line is beyond a gateway."""
    came, request = said.came, said.request
    at = came.find(request)
    echoed = at >= 0
    begin = at + len(request) if echoed else 0
    frames = list(frames_in(came[begin:]))
    ours = [frame for frame in frames if frame.unit == request[0] and frame.function == request[1]]
    request_ends_s = said.sent_s + len(request) * character_s
    fitting = [frame for frame in ours if _fits(frame.shape, request)]
    own = fitting[-1] if fitting else None
    is_timed = own is not None and _is_waited_for(own, request)
    return Verdict(
        unit=request[0],
        request=request,
        request_ends_s=request_ends_s,
        outcome=_outcome(own or next(iter(ours), None), len(came) - begin, echoed),
        answer_bytes=_answer_bytes(request),
        bytes_heard=len(came) - (len(request) if echoed else 0),
        echoed=echoed,
        turn_around_s=_begins_s(said, begin, own, character_s) - request_ends_s if own and is_timed else None,
        heard=tuple(
            AnswerHeard(
                unit=frame.unit,
                shape=frame.shape,
                begins_s=_begins_s(said, begin, frame, character_s),
            )
            for frame in frames
        ),
        foreign=tuple(_foreign(came[begin:], frames)),
    )


def _foreign(came: bytes, answers: list[Frame]) -> Iterator[HeardRequest]:
    """Yield the requests in what lies between the answers."""
    ends = [0, *(answer.end for answer in answers)]
    begins = [*(answer.end - len(answer.pdu) - 1 - CRC_BYTES for answer in answers), len(came)]
    for end, begin in zip(ends, begins, strict=True):
        yield from requests_in(came[end:begin])


def judge_tcp(said: Said) -> Verdict:
    """Judge a request with a TCP header; the gateway's own time is part of the turn-around."""
    came, request = said.came, said.request
    pdu = came[_HEADER_BYTES:]
    mine = came[6:7] == request[6:7] and bool(pdu) and pdu[0] & ~EXCEPTION_FLAG == request[7]
    if not came:
        outcome = Outcome.SILENT
    elif not mine:
        outcome = Outcome.DAMAGED
    else:
        outcome = _of_pdu(pdu)
    shape = (pdu[0], -1 if pdu[0] == IDENTIFY else pdu[1]) if mine else (0, 0)
    return Verdict(
        unit=request[6],
        request=request[_HEADER_BYTES - 1 :],
        request_ends_s=said.sent_s,
        outcome=outcome,
        answer_bytes=_answer_bytes(request[_HEADER_BYTES - 1 :]),
        bytes_heard=len(came),
        turn_around_s=said.lumps[0][0] - said.sent_s if mine else None,
        heard=(AnswerHeard(unit=request[6], shape=shape, begins_s=said.lumps[0][0]),) if mine else (),
    )


def _outcome(ours: Frame | None, bytes_left: int, echoed: bool) -> Outcome:
    if ours is not None:
        return _of_pdu(ours.pdu)
    if bytes_left >= LEAST_DAMAGED:
        return Outcome.DAMAGED
    return Outcome.ECHO_ONLY if echoed else Outcome.SILENT


def _of_pdu(pdu: bytes) -> Outcome:
    if not pdu[0] & EXCEPTION_FLAG:
        return Outcome.ANSWERED
    return Outcome.NO_PATH if pdu[1] in GATEWAY_CODES else Outcome.REFUSED


def _begins_s(said: Said, begin: int, frame: Frame, character_s: float) -> float:
    """Return when the frame began, counted back from its last byte: that is what the bus waits for."""
    length = 1 + len(frame.pdu) + CRC_BYTES
    return max(said.time_of_byte_s(begin + frame.end - 1) - length * character_s, said.sent_s)


def _is_waited_for(answer: Frame, request: bytes) -> bool:
    """Return whether it was read when it came: the bus sleeps until the answer it expects can be there."""
    length = 1 + len(answer.pdu) + CRC_BYTES
    return length <= _TIMED_BYTES and length + _LITTLE_SHORTER >= _answer_bytes(request) > 0


def _fits(shape: Shape, request: bytes) -> bool:
    if shape[0] & EXCEPTION_FLAG:
        return shape[0] & ~EXCEPTION_FLAG == request[1]
    byte_count = -1 if request[1] == IDENTIFY else 2 * int.from_bytes(request[4:6], "big")
    return shape == (request[1], byte_count)


def _answer_bytes(request: bytes) -> int:
    """Return how long the answer to a read of registers is, in serial framing; 0 for identification."""
    if request[1] == IDENTIFY:
        return 0
    return 3 + 2 * int.from_bytes(request[4:6], "big") + CRC_BYTES
