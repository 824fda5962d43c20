"""Every way to read a number from the registers that were read: place, type and order."""

from __future__ import annotations

import math
import struct
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final, Literal

from collector.registers.register_map import Order, Table

Image = Mapping[tuple[Table, int], int]
"""The 16-bit word at each table and zero-based address, as one pass of reading gave them."""
Kind = Literal["u16", "i16", "u32", "i32", "f32"]
Span = tuple[float, float]
"""The lowest and the highest raw value seen while one panel was read."""

_ORDERS: Final[tuple[Order, ...]] = ("big", "little")
_SMALLEST_F32: Final = 1e-6
_LARGEST_F32: Final = 1e12
"""A float outside of these is bytes that mean something else."""
_FLOOR_OF_STEPS, _FLOOR_OF_FLOATS = 0.02, 1e-6
"""The least unrest: of a whole number in steps, of a float over its value."""
_MOST_UNREST: Final = 0.3
"""What strays more than this part of itself while a panel is read, shows nothing (common practice)."""
_UNREST_OF_A_VALUE, _FEWEST_STRAYED = 0.05, 8
_SIGN: Final = {1: 2**15, 2: 2**31}


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where and how a number stands. ``word_order`` of one register is big, and means nothing."""

    table: Table
    address: int
    type: Kind
    byte_order: Order
    word_order: Order

    @property
    def words(self) -> range:
        """The addresses it takes."""
        return range(self.address, self.address + (1 if self.type in ("u16", "i16") else 2))

    @property
    def is_float(self) -> bool:
        """Whether it has no smallest step."""
        return self.type == "f32"


@dataclass(frozen=True, slots=True, kw_only=True)
class Track:
    """What a place held while each panel was read: one span of raw values a sample.

    ``spare_zeros`` says that the upper register of two was 0 throughout, so that the lower one alone would
    read the same. ``unrest_share`` [-] is how far a value strays, over the value: all samples tell of that.
    """

    place: Place
    spans: tuple[Span, ...]
    unrest_share: float
    spare_zeros: bool = False

    @property
    def half_step(self) -> float:
        """Half of one step, by which a whole number is rounded."""
        return 0.0 if self.place.is_float else 0.5

    @property
    def freedom(self) -> int:
        """From how many samples the unrest is known, at most three: tails are kept long."""
        return min(len(self.spans), 3)

    @property
    def has_changed(self) -> bool:
        """Whether it held more than one value."""
        return min(low for low, _ in self.spans) != self.largest

    @property
    def largest(self) -> float:
        """The largest raw value seen."""
        return max(high for _, high in self.spans)

    def middle(self, sample: int) -> float:
        """Return the raw value in the middle of a sample."""
        low, high = self.spans[sample]
        return (low + high) / 2

    def unrest(self, sample: int) -> float:
        """Return how far the panel's value may be expected from the middle [raw]."""
        middle = abs(self.middle(sample))
        floor = _FLOOR_OF_FLOATS * middle + 1e-12 if self.place.is_float else _FLOOR_OF_STEPS
        return floor + self.unrest_share * middle


def tracks_of(samples: Sequence[Sequence[Image]]) -> list[Track]:
    """Return a track for each way to read each place that all images hold.

    A type with a sign is tried only where it reads otherwise: below half of its range it cannot be told from
    the one without, and means the same.
    """
    tracks = list(_all_tracks(samples))
    floor = _common_unrest(tracks)
    return [
        replace(track, unrest_share=max(track.unrest_share, floor)) if track.has_changed else track
        for track in tracks
    ]


def raw_at(place: Place, image: Image) -> float | None:
    """Return the raw value at a place, or None where the image lacks it or it is no number.

    >>> place = Place(table="input", address=7, type="i16", byte_order="big", word_order="big")
    >>> raw_at(place, {("input", 7): 0xFFFE})
    -2.0
    """
    count = len(place.words)
    if any((place.table, address) not in image for address in place.words):
        return None
    raw = _joined(image, place.table, place.address, count, place.byte_order, place.word_order)
    if place.is_float:
        real = _real(raw)
        return real if math.isfinite(real) else None
    return float(_signed(raw, count) if place.type in ("i16", "i32") else raw)


def _common_unrest(tracks: Sequence[Track]) -> float:
    """Return how far the values of this drive stray at least [-], by those that were seen to.

    A value may by chance stand still at both ends of a sample, and not between. A quarter of all that strayed
    did so less: bytes read in a wrong order stray more.
    """
    strayed = sorted(track.unrest_share for track in tracks if 0 < track.unrest_share <= _UNREST_OF_A_VALUE)
    return strayed[len(strayed) // 4] if len(strayed) >= _FEWEST_STRAYED else 0.0


def _all_tracks(samples: Sequence[Sequence[Image]]) -> Iterator[Track]:
    held = [image for images in samples for image in images]
    if not held:
        return
    common = set(held[0]).intersection(*held[1:])
    for table, address in sorted(common):
        yield from _tracks(samples, table, address, 1)
        if (table, address + 1) in common:
            yield from _tracks(samples, table, address, 2)


def _tracks(samples: Sequence[Sequence[Image]], table: Table, address: int, count: int) -> Iterator[Track]:
    for byte_order in _ORDERS:
        for word_order in _ORDERS[:count]:
            raws = [
                [_joined(image, table, address, count, byte_order, word_order) for image in images]
                for images in samples
            ]
            for kind, values in _readings(raws, count):
                place = Place(
                    table=table, address=address, type=kind, byte_order=byte_order, word_order=word_order
                )
                track = _track(place, values)
                if track is not None:
                    yield track


def _readings(raws: Sequence[Sequence[int]], count: int) -> Iterator[tuple[Kind, Sequence[Sequence[float]]]]:
    """Yield what the bits may mean; nothing for what is always 0."""
    most = max(max(each) for each in raws)
    if most == 0:
        return
    yield ("u16" if count == 1 else "u32"), raws
    if most >= _SIGN[count]:
        yield ("i16" if count == 1 else "i32"), [[_signed(raw, count) for raw in each] for each in raws]
    if count == 2 and (reals := _reals(raws)) is not None:
        yield "f32", reals


def _track(place: Place, values: Sequence[Sequence[float]]) -> Track | None:
    """Return the track, or None for what strays too much to be shown on a panel."""
    spans = tuple((min(each), max(each)) for each in values)
    squares = [((high - low) / ((abs(low) + abs(high)) / 2 or 1.0)) ** 2 for low, high in spans]
    # Half of the squared difference is the variance of one value; one more half for the middle of two.
    unrest = math.sqrt(0.75 * sum(squares) / len(squares))
    if unrest > _MOST_UNREST:
        return None
    spare = len(place.words) == 2 and not place.is_float and spans and max(high for _, high in spans) < 2**16
    return Track(place=place, spans=spans, unrest_share=unrest, spare_zeros=bool(spare))


def _joined(
    image: Image, table: Table, address: int, count: int, byte_order: Order, word_order: Order
) -> int:
    words = [image[(table, address + place)] for place in range(count)]
    if word_order == "little":
        words.reverse()
    if byte_order == "little":
        words = [(word & 0xFF) << 8 | word >> 8 for word in words]
    return words[0] if count == 1 else words[0] << 16 | words[1]


def _signed(raw: int, count: int) -> int:
    return raw - 2 * _SIGN[count] if raw >= _SIGN[count] else raw


def _reals(raws: Sequence[Sequence[int]]) -> list[list[float]] | None:
    """Return the floats, or None when one of them is none that a drive would send."""
    reals = [[_real(raw) for raw in each] for each in raws]
    return reals if all(math.isfinite(real) for each in reals for real in each) else None


@lru_cache(maxsize=65_536)
def _real(raw: int) -> float:
    (real,) = struct.unpack(">f", raw.to_bytes(4, "big"))
    usual = real == 0 or _SMALLEST_F32 < abs(real) < _LARGEST_F32
    return float(real) if usual else math.nan
