"""What can go wrong on a bus, each in one sentence that a tech can act on."""

from __future__ import annotations

from typing import ClassVar, Final

from collector.reading import FailureKind

EXCEPTION_WORDS: Final[dict[int, str]] = {
    1: "the drive does not know this function",
    2: "the drive has no such register",
    3: "the drive does not take this number of registers",
    4: "the drive failed while reading",
    5: "the drive is still working on it; ask later",
    6: "the drive is busy; ask later",
    8: "the drive found its memory damaged",
    10: "the gateway has no path to the drive; check its unit table",
    11: "the gateway got no answer from the drive; check its serial side",
}
"""Application protocol V1.1b3, section 7 (meanings from memory, words our own)."""


class BusError(Exception):
    """A read that gave no data; the text is one sentence, ``kind`` is how a failure is stored."""

    kind: ClassVar[FailureKind]


class NoLink(BusError):
    """The port or the host cannot be opened, or was lost."""

    kind = FailureKind.NO_LINK


class NoReply(BusError):
    """Silence until the time-out."""

    kind = FailureKind.NO_REPLY


class Damaged(BusError):
    """Something came, but not the answer that was asked for."""

    kind = FailureKind.DAMAGED


class Echo(BusError):
    """Our own request came back and nothing else."""

    kind = FailureKind.ECHO


class Refused(BusError):
    """The drive answered with an exception.

    ``exception_code`` [-] is the drive's; ``certain`` is false when the answer may belong to an earlier
    request that went unanswered, since an exception does not say what it refuses.
    """

    kind = FailureKind.REFUSED

    def __init__(self, sentence: str, exception_code: int, *, certain: bool = True) -> None:
        super().__init__(sentence)
        self.exception_code = exception_code
        self.certain = certain


def refusal(place: str, words: str, exception_code: int, *, certain: bool = True) -> Refused:
    """Return the refusal of a request, with what its code means."""
    meaning = EXCEPTION_WORDS.get(exception_code, "a code of the drive's own; see its manual")
    return Refused(
        f"{place}: refused {words} (exception {exception_code}: {meaning})", exception_code, certain=certain
    )
