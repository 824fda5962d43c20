"""Bit by bit what a receiver makes of a serial line: also one whose settings are not the sender's.

A character is a start bit (0), eight data bits with the lowest first, a parity bit if there is one, and one
or two stop bits (1); the idle line is at 1 (Modbus over Serial Line V1.02, 2.5.1, from memory). A sender
turns bytes into a :class:`Wave`, the line's level over time. A receiver waits for an edge from 1 to 0, looks
again in the middle of the start bit, then at the middle of each further bit, and checks the parity bit and
the first stop bit. Nothing here reads a clock.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, Literal

Parity = Literal["E", "O", "N"]
DATA_BITS: Final = 8

_SEEN_LATE_BITS: Final = 1 / 32
"""A receiver looks sixteen times a bit, so it sees an edge half a tick late on average (common practice)."""


@dataclass(frozen=True, slots=True)
class LineSetting:
    """What both ends of a line have to agree on; always eight data bits."""

    baud: int = 19200
    parity: Parity = "E"
    stop_bits: Literal[1, 2] = 1

    @property
    def bit_s(self) -> float:
        """Return how long a bit takes [s]."""
        return 1 / self.baud

    @property
    def character_bits(self) -> int:
        """Return the bits of one character with its start, parity and stop bits.

        >>> LineSetting(parity="E", stop_bits=1).character_bits
        11
        """
        return 1 + DATA_BITS + (self.parity != "N") + self.stop_bits

    @property
    def character_s(self) -> float:
        """Return how long a character takes [s]."""
        return self.character_bits / self.baud

    @property
    def words(self) -> str:
        """Return the setting as people write it.

        >>> LineSetting(baud=9600, parity="N", stop_bits=2).words
        '9600 8N2'
        """
        return f"{self.baud} {DATA_BITS}{self.parity}{self.stop_bits}"


@dataclass(frozen=True, slots=True)
class Character:
    """What a receiver delivers: a byte, when it is through [s], and what was wrong with it."""

    byte: int
    ends_s: float
    parity_error: bool = False
    framing_error: bool = False

    @property
    def is_break(self) -> bool:
        """Return whether the line was at 0 throughout, stop bit included."""
        return self.framing_error and self.byte == 0


class Wave:
    """A line's level over time: at 1 before the first of its ascending edges [s], and turning at each."""

    def __init__(self, edges: Sequence[float]) -> None:
        self.edges = edges

    def level_at(self, time_s: float) -> int:
        """Return the level, 0 or 1; at an edge the one after it."""
        return 1 - bisect_right(self.edges, time_s) % 2

    def next_fall_s(self, from_s: float) -> float | None:
        """Return the first edge from 1 to 0 that is not before this time."""
        place = bisect_left(self.edges, from_s)
        place += place % 2
        return self.edges[place] if place < len(self.edges) else None

    def inverted(self) -> Wave:
        """Return the wave as seen through swapped wires: an idle line stands at 0."""
        return Wave([float("-inf"), *self.edges])


def bits_of(byte: int, setting: LineSetting) -> list[int]:
    """Return the levels of one character in the order in which they go out.

    >>> "".join(map(str, bits_of(0x41, LineSetting(parity="E"))))
    '01000001001'
    """
    bits = [0] + [byte >> place & 1 for place in range(DATA_BITS)]
    if setting.parity != "N":
        bits.append(parity_bit(byte, setting.parity))
    return bits + [1] * setting.stop_bits


def parity_bit(byte: int, parity: Parity) -> int:
    """Return the bit that makes the count of ones even (or odd, for "O")."""
    return byte.bit_count() % 2 ^ (parity == "O")


def wave_of(
    data: bytes,
    setting: LineSetting,
    begin_s: float = 0.0,
    flipped: Collection[int] = frozenset(),
    is_inverted: bool = False,
) -> Wave:
    """Return the level while these bytes go out without a gap.

    ``flipped`` bits (counted from the first start bit as 0) are hurt. With ``is_inverted`` the driver's wires
    are swapped: each bit is turned round while it drives the line, and no longer.
    """
    levels = [1] + [bit ^ is_inverted for byte in data for bit in bits_of(byte, setting)] + [1]
    for place in flipped:
        levels[place + 1] ^= 1
    turns = (place for place, (before, after) in enumerate(pairwise(levels)) if before != after)
    return Wave([begin_s + place / setting.baud for place in turns])


def joined(waves: Sequence[Wave]) -> Wave:
    """Return the level where several senders share a line: at 0 as soon as one of them pulls it there.

    What two fighting drivers really make of a line depends on the cable between them; this is one way of it.
    """
    if len(waves) == 1:
        return waves[0]
    steps = sorted((edge, -1 if place % 2 else 1) for wave in waves for place, edge in enumerate(wave.edges))
    pulling = 0
    edges: list[float] = []
    for edge, step in steps:
        before, pulling = pulling, pulling + step
        if (before == 0) == (pulling == 0):
            continue
        # Two edges at one moment are none.
        if edges and edges[-1] == edge:
            edges.pop()
        else:
            edges.append(edge)
    return Wave(edges)


@dataclass(frozen=True, slots=True, kw_only=True)
class Reception:
    """What came up to a time, and from when on the receiver waits for the next start bit [s]."""

    characters: tuple[Character, ...]
    resumes_s: float


def receive(
    wave: Wave,
    setting: LineSetting,
    from_s: float = 0.0,
    until_s: float = float("inf"),
    starts_at_low_stop: bool = False,
) -> Reception:
    """Return what a receiver delivers that began to wait at ``from_s``, up to ``until_s``.

    After a framing error it waits for the next edge from 1 to 0. Receivers of another kind take the low stop
    bit for the next start bit (common practice): ``starts_at_low_stop``.
    """
    came: list[Character] = []
    while (start_s := _next_start_s(wave, setting, from_s, starts_at_low_stop)) is not None:
        if start_s + setting.character_s > until_s:
            break
        if wave.level_at(start_s + (0.5 + _SEEN_LATE_BITS) / setting.baud) == 1:
            from_s = start_s + 0.5 / setting.baud
            continue
        came.append(_sampled(wave, setting, start_s))
        middle_of_stop = setting.character_bits - setting.stop_bits + 0.5 + _SEEN_LATE_BITS
        from_s = start_s + middle_of_stop / setting.baud
    return Reception(characters=tuple(came), resumes_s=from_s)


def _next_start_s(wave: Wave, setting: LineSetting, from_s: float, low_starts: bool) -> float | None:
    fall_s = wave.next_fall_s(from_s)
    if low_starts and fall_s != from_s and wave.level_at(from_s) == 0:
        return from_s - (0.5 + _SEEN_LATE_BITS) / setting.baud
    return fall_s


def _sampled(wave: Wave, setting: LineSetting, start_s: float) -> Character:
    first_s, bit_s = start_s + (1.5 + _SEEN_LATE_BITS) / setting.baud, 1 / setting.baud
    byte = 0
    for place in range(DATA_BITS):
        byte |= wave.level_at(first_s + place * bit_s) << place
    has_parity = setting.parity != "N"
    wrong_parity = has_parity and wave.level_at(first_s + DATA_BITS * bit_s) != parity_bit(
        byte, setting.parity
    )
    low_stop = wave.level_at(first_s + (DATA_BITS + has_parity) * bit_s) == 0
    return Character(byte, start_s + setting.character_s, wrong_parity, low_stop)
