"""One request and its answer over a serial line, or over a network gateway that hands serial frames on."""

from __future__ import annotations

import itertools
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final

from collector.bus.crc import CRC_BYTES, with_crc
from collector.bus.errors import BusError, Damaged, Echo, NoReply, Refused, refusal
from collector.bus.late_replies import LateReplies
from collector.bus.links import Link
from collector.bus.pdu import Request, Shape, only_reads
from collector.bus.rtu_frames import LONGEST_FRAME, Frame, frames_in

MOST_KEPT: Final = 2 * LONGEST_FRAME
"""A frame and the noise before it; a line that babbles never takes more memory than this [bytes]."""
SHORTEST_NAP_S: Final = 0.0003
LOOK_S: Final = 0.005
"""A last look after the earliest possible end, for a time-out that is shorter than the answer itself [s]."""

MOST_FENCES: Final = 8
"""So many shorter reads may be refused in one turn; those refused for good are left out at the next."""
LASTING_REFUSALS: Final = frozenset({1, 2, 3})
"""No such function, register or count: the drive will say it again. Other codes are of the moment."""


@dataclass(slots=True)
class _Turn:
    """What has come since a request was sent."""

    unit: int
    request: Request
    sent: bytes
    came: bytearray = field(default_factory=bytearray)
    bytes_seen: int = 0
    echoed: bool = False
    refused: Frame | None = None

    @property
    def answer_bytes(self) -> int:
        return 1 + 2 + max(self.request.byte_count, 0) + CRC_BYTES


class RtuExchange:
    """Asks on one line: keeps the silences, finds the answer in noise, and never takes a late one."""

    def __init__(self, link: Link, place: str, settings: str, timeout_s: float, late: LateReplies) -> None:
        self._link = link
        self._place = place
        self._settings = settings
        self._timeout_s = timeout_s
        self._late = late
        self._last_byte_s = time.monotonic()
        self._left_over = b""
        self._refused_fences: set[tuple[int, bytes]] = set()

    def ask(self, unit: int, request: Request) -> bytes:
        """Send the request and return the PDU of its answer, or raise one of the bus errors."""
        try:
            if self._late.may_come(unit, request.shape):
                self._fence(unit, request)
            return self._ask_once(unit, request)
        except BusError:
            if next(self._fences(unit, request), None) is None:
                self._late.lengthen(unit)
            raise

    def _fence(self, unit: int, request: Request) -> None:
        """Make sure that no earlier answer can be taken for this request's: see ``late_replies``.

        A fence that is refused says nothing about the request itself, and its refusal never leaves here.
        Sleeps while a late answer is still possible by time, but raises NoReply through a lengthened wait.
        """
        if self._late.is_for_long(unit, time.monotonic()):
            raise self._left_out(unit)
        time.sleep(self._late.quiet_left_s(unit, time.monotonic()))
        doubtful: list[Shape] = []
        for fence in itertools.islice(self._fences(unit, request), MOST_FENCES):
            try:
                self._ask_once(unit, fence)
            except Refused as refused:
                if not refused.certain:
                    raise self._unsure(unit, refused) from refused
                self._late.refused(unit, fence.shape)
                doubtful.append(fence.shape)
                if refused.exception_code not in LASTING_REFUSALS:
                    break
                self._refused_fences.add((unit, fence.pdu))
            else:
                return
        self._late.waited_out(unit, doubtful, time.monotonic())
        if self._late.quiet_left_s(unit, time.monotonic()):
            raise self._left_out(unit)

    def _left_out(self, unit: int) -> NoReply:
        left_s = self._late.quiet_left_s(unit, time.monotonic())
        return NoReply(
            f"unit {unit} on {self._place}: silent for long; asked again in {left_s:.1f} s, when no late "
            "reply can be taken for a new one any more"
        )

    def _fences(self, unit: int, request: Request) -> Iterator[Request]:
        for shorter in request.shorter():
            known = (unit, shorter.pdu) in self._refused_fences
            if not known and not self._late.may_come(unit, shorter.shape):
                yield shorter

    def _unsure(self, unit: int, refused: Refused) -> Damaged:
        return Damaged(
            f"unit {unit} on {self._place}: refused something (exception {refused.exception_code}) while "
            "a late reply was still possible; it is asked again at its next turn"
        )

    def _ask_once(self, unit: int, request: Request) -> bytes:
        self._wait_for_silence(unit)
        frame = with_crc(bytes((unit,)) + only_reads(request.pdu))
        turn = _Turn(unit, request, frame)
        try:
            self._link.send(frame)
            self._last_byte_s = time.monotonic() + len(frame) * self._link.character_s
            pdu = self._listen(turn)
        except Refused as refused:
            if not refused.certain:
                self._late.unanswered(unit, request.shape, time.monotonic())
            raise
        except BusError:
            self._late.unanswered(unit, request.shape, time.monotonic())
            raise
        self._late.proven(unit, self._last_byte_s)
        return pdu

    def _wait_for_silence(self, unit: int) -> None:
        """Wait until the line has been silent for t3.5, throwing away what nobody asked for."""
        stray = bytearray(self._left_over)
        self._left_over = b""
        give_up_s = time.monotonic() + self._timeout_s
        while True:
            now_s = time.monotonic()
            ready_s = self._last_byte_s + self._link.silence_s
            if now_s < ready_s:
                time.sleep(ready_s - now_s)
            data = self._link.receive(0)
            if not data:
                break
            self._last_byte_s = time.monotonic()
            stray = (stray + data)[-MOST_KEPT:]
            if self._last_byte_s > give_up_s:
                raise Damaged(
                    f"unit {unit} on {self._place}: the line is never silent; is there another master?"
                )
        self._suspect(stray)

    def _suspect(self, stray: bytearray) -> None:
        """Note answers that nobody waited for: who sends one may send it again."""
        for frame in frames_in(stray) if stray else ():
            if not frame.is_exception:
                self._late.unasked(frame.unit, frame.shape, self._last_byte_s)

    def _listen(self, turn: _Turn) -> bytes:
        """Return the answer; what the system holds at the deadline counts, however late we come to look."""
        deadline_s = self._sleep_while_nothing_can_be_there(turn)
        while True:
            left_s = deadline_s - time.monotonic()
            data = self._link.receive(max(0.0, left_s))
            if data:
                self._last_byte_s = time.monotonic()
                if not turn.bytes_seen:
                    rest_s = max(self._timeout_s, turn.answer_bytes * self._link.character_s)
                    deadline_s = max(deadline_s, self._last_byte_s + rest_s)
                turn.bytes_seen += len(data)
                turn.came += data
                pdu = self._answer_in(turn)
                if pdu is not None:
                    return pdu
                del turn.came[:-MOST_KEPT]
                self._nap_until_complete(turn, deadline_s)
            if left_s <= 0 and time.monotonic() >= deadline_s:
                raise self._complaint(turn)

    def _sleep_while_nothing_can_be_there(self, turn: _Turn) -> float:
        """Sleep until the line can have carried a whole answer; return the deadline for its first byte.

        One wake-up instead of one for each byte or lump: that is most of a poll's processor time.
        """
        sent_s = self._last_byte_s
        carried_s = turn.answer_bytes * self._link.character_s
        earliest_s = sent_s + self._link.silence_s + carried_s if carried_s else sent_s
        time.sleep(max(0.0, earliest_s - time.monotonic()))
        return max(sent_s + self._timeout_s, earliest_s + LOOK_S)

    def _nap_until_complete(self, turn: _Turn, deadline_s: float) -> None:
        missing_s = (turn.answer_bytes - len(turn.came)) * self._link.character_s
        if missing_s > SHORTEST_NAP_S:
            time.sleep(min(missing_s, max(0.0, deadline_s - time.monotonic())))

    def _answer_in(self, turn: _Turn) -> bytes | None:
        self._skip_echo(turn)
        if turn.sent.startswith(turn.came):
            return None
        answers: list[Frame] = []
        odd: Frame | None = None
        for frame in frames_in(turn.came):
            if frame.unit != turn.unit or frame.function != turn.request.function:
                continue
            if frame.is_exception:
                self._refuse(turn, frame)
            elif frame.shape == turn.request.shape:
                answers.append(frame)
            elif not self._late.may_come(turn.unit, frame.shape):
                odd = frame
        if answers:
            return self._only_one(turn, answers)
        if odd is not None:
            raise Damaged(
                f"unit {turn.unit} on {self._place}: asked {turn.request.words}, "
                f"the answer has {odd.pdu[1]} bytes of data instead of {turn.request.byte_count}"
            )
        return None

    def _only_one(self, turn: _Turn, answers: list[Frame]) -> bytes:
        """Return the answer, unless two that differ came at once: then nobody can say which is ours."""
        self._left_over = bytes(turn.came[answers[0].end :])
        if any(answer.pdu != answers[0].pdu for answer in answers):
            raise Damaged(
                f"unit {turn.unit} on {self._place}: two different answers came; "
                "does something repeat answers, or do two drives have this address?"
            )
        return answers[0].pdu

    def _skip_echo(self, turn: _Turn) -> None:
        place = turn.came.find(turn.sent)
        if place >= 0:
            turn.echoed = True
            del turn.came[: place + len(turn.sent)]

    def _refuse(self, turn: _Turn, frame: Frame) -> None:
        """Raise the refusal at once when it must be ours, else keep it in case nothing better comes."""
        turn.refused = frame
        if not self._late.quiet_left_s(turn.unit, time.monotonic()):
            raise self._refusal(turn, frame, certain=True)

    def _refusal(self, turn: _Turn, frame: Frame, *, certain: bool) -> Refused:
        place = f"unit {turn.unit} on {self._place}"
        return refusal(place, turn.request.words, frame.pdu[1], certain=certain)

    def _complaint(self, turn: _Turn) -> BusError:
        place = f"unit {turn.unit} on {self._place}"
        if turn.refused is not None:
            return self._refusal(turn, turn.refused, certain=False)
        if turn.echoed and not turn.came:
            return Echo(f"{place}: only our own request came back; turn off local echo at the adapter")
        if not turn.bytes_seen:
            return NoReply(f"{place}: no reply within {self._timeout_s:g} s")
        others = sorted({frame.unit for frame in frames_in(turn.came)} - {turn.unit})
        if others:
            return Damaged(
                f"{place}: only unit {others[0]} answered; is its late reply or its address the cause?"
            )
        return Damaged(f"{place}: {turn.bytes_seen} bytes came but no good answer; check {self._settings}")
