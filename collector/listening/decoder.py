"""From bytes as they come to frames, wherever they begin and however they are cut into lumps.

A frame is claimed when its checksum is right *and* its place or its content speaks for it, since one random
place in 65,536 has a right checksum. Strong by content: a request for registers, whose count must be possible
(by chance about once in 4,000,000,000 bytes of noise). Strong by place: the answer to the request that has
just been heard, and whatever begins exactly where a frame ended, or after a silence. Anything else must
name a unit that is known already, or come a second time with unit, function and length the same. By chance
an answer that answers nothing is then claimed about once in 1,000,000,000 bytes of noise for each known
unit; it never becomes a reading, since it has no request. A damaged frame whose checksum is right all the
same is another matter: one in 65,536 of those with two or more bytes damaged, for every receiver.

Frames of functions not known here have no length of their own. They are claimed only when they fill the
whole room between two known frames or silences: as request and answer, or alone at their second coming.

What is decided depends on the bytes alone, never on how they were cut; only a silence (:meth:`silence`)
ends what is incomplete.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import Enum
from typing import Final

from collector.bus.crc import CRC_BYTES, crc_is_right
from collector.bus.pdu import EXCEPTION_FLAG
from collector.listening.frames import (
    ECHOED,
    KNOWN_FUNCTIONS,
    LAST_UNIT,
    HeardFrame,
    Possible,
    Role,
    possible_frames,
)
from collector.listening.timed_bytes import TimedBytes

LONGEST_ROOM: Final = 2 * 256
"""A request and an answer of functions not known; work on noise is bounded by it [bytes]."""
SHORTEST_FRAME: Final = 4


@dataclass(frozen=True, slots=True)
class Noise:
    """Bytes of the stream in which no frame was found: ``start`` to ``end``, and when the last came [s]."""

    start: int
    end: int
    ends_s: float


Heard = HeardFrame | Noise


class _Not(Enum):
    """Why there is no frame at a place."""

    NONE = 0
    TOO_EARLY = 1


_NONE: Final = _Not.NONE
_TOO_EARLY: Final = _Not.TOO_EARLY


class StreamDecoder:
    """Takes bytes with the time at which they were handed over, gives frames and the noise between them."""

    def __init__(self) -> None:
        self._bytes = TimedBytes()
        self._room = 0
        """Where the last frame ended; what follows and is no frame is noise [place in the stream]."""
        self._place = 0
        """Where the next frame is looked for [place in the stream]."""
        self._in_place = True
        """Whether the room begins at the end of a frame or after a silence."""
        self._asked: HeardFrame | None = None
        self._units: set[int] = set()
        self._first_seen: dict[tuple[int, int, int], int] = {}

    @property
    def bytes_taken(self) -> int:
        """How many bytes have come so far."""
        return self._bytes.end

    def feed(self, data: bytes, time_s: float) -> list[Heard]:
        """Take the next bytes, handed over at this time [s]; return what can be told by now."""
        self._bytes.take(data, time_s)
        return list(self._decided(is_over=False))

    def silence(self) -> list[Heard]:
        """Say that the line is silent: what is incomplete will never be complete."""
        found = list(self._decided(is_over=True))
        found.extend(self._fill_room(self._bytes.end))
        self._move_on(self._bytes.end)
        return found

    def _decided(self, *, is_over: bool) -> Iterator[Heard]:
        while self._place < self._bytes.end:
            frame = self._frame_here(is_over=is_over)
            if frame is _TOO_EARLY:
                return
            if isinstance(frame, HeardFrame):
                yield from self._fill_room(frame.start)
                yield self._claimed(frame)
                self._move_on(frame.end)
                continue
            self._place += 1
            if self._place - self._room > LONGEST_ROOM:
                yield self._noise(self._place)
                self._move_on(self._place, in_place=False)

    def _frame_here(self, *, is_over: bool) -> HeardFrame | _Not:
        data, place = self._bytes.data, self._place - self._bytes.begin
        for possible in self._likely_first(place):
            end = place + possible.length
            if not possible.length or end > len(data):
                if not is_over:
                    return _TOO_EARLY
            elif crc_is_right(data[place:end]):
                frame = self._frame(possible.role, self._place, self._place + possible.length)
                if possible.is_strong or self._is_in_context(frame):
                    self._trust(frame, possible)
                    return frame
        return _NONE

    def _likely_first(self, place: int) -> list[Possible]:
        """Return what may be here, the answer that is waited for before anything else."""
        found = list(possible_frames(self._bytes.data, place))
        if len(found) > 1 and self._is_awaited(place):
            found.sort(key=lambda possible: possible.role is not Role.ANSWER)
        return found

    def _is_awaited(self, place: int) -> bool:
        asked, head = self._asked, self._bytes.data[place : place + 3]
        return asked is not None and tuple(head) == (asked.unit, *asked.answer_shape)

    def _is_in_context(self, frame: HeardFrame) -> bool:
        if (self._in_place and frame.start == self._room) or frame.unit in self._units:
            return True
        return self._is_second(frame)

    def _is_second(self, frame: HeardFrame) -> bool:
        """Return whether one like it came before. The same place may be looked at again as bytes come."""
        kind = frame.unit, frame.pdu[0], frame.end - frame.start
        return self._first_seen.setdefault(kind, frame.start) != frame.start

    def _trust(self, frame: HeardFrame, possible: Possible) -> None:
        asked = self._asked
        if possible.is_strong or (asked is not None and asked.is_answered_by(frame)):
            self._units.add(frame.unit)

    def _claimed(self, frame: HeardFrame) -> HeardFrame:
        asked = self._asked
        if frame.function in ECHOED and asked is not None and frame.role is Role.REQUEST:
            # Such a write is answered by its own bytes: the second of two alike is the drive's.
            if (asked.unit, asked.pdu) == (frame.unit, frame.pdu):
                frame = replace(frame, role=Role.ANSWER)
        self._asked = frame if frame.role is Role.REQUEST else None
        return frame

    def _frame(self, role: Role, start: int, end: int) -> HeardFrame:
        raw = self._bytes.between(start, end)
        begins_s, ends_s = self._bytes.time_s(start), self._bytes.time_s(end - 1)
        return HeardFrame(role, raw[0], raw[1:-CRC_BYTES], start, end, begins_s, ends_s)

    def _noise(self, end: int) -> Noise:
        return Noise(self._room, end, self._bytes.time_s(end - 1))

    def _fill_room(self, end: int) -> list[Heard]:
        """Return what stands between the last frame and this place: frames of other functions, or noise."""
        if end == self._room:
            return []
        raw = self._bytes.between(self._room, end)
        lengths = _whole_frames(raw) if self._in_place else ()
        others = []
        start = self._room
        for length in lengths:
            others.append(self._frame(Role.OTHER, start, start + length))
            start += length
        if len(others) == 2 or (others and (others[0].unit in self._units or self._is_second(others[0]))):
            return [*others]
        return [self._noise(end)]

    def _move_on(self, place: int, *, in_place: bool = True) -> None:
        self._room = self._place = place
        self._in_place = in_place
        self._bytes.forget(place)


def _whole_frames(raw: bytes) -> tuple[int, ...]:
    """Return the lengths of the one or two frames of functions not known here that fill these bytes."""
    if not SHORTEST_FRAME <= len(raw) <= LONGEST_ROOM or not _is_other(raw):
        return ()
    if crc_is_right(raw):
        return (len(raw),)
    for length in range(SHORTEST_FRAME, len(raw) - SHORTEST_FRAME + 1):
        answer = raw[length:]
        if answer[0] == raw[0] and answer[1] & ~EXCEPTION_FLAG == raw[1]:
            if crc_is_right(raw[:length]) and crc_is_right(answer):
                return length, len(answer)
    return ()


def _is_other(raw: bytes) -> bool:
    return raw[0] <= LAST_UNIT and raw[1] not in KNOWN_FUNCTIONS and 0 < raw[1] < EXCEPTION_FLAG
