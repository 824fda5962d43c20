"""What was read, with the registers it came from, so that it can be read another way."""

from __future__ import annotations

import math
import struct
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from collector.reading import Quality, Reading, Source, unpack_quality
from collector.registers.decode import raw_value
from collector.registers.register_map import BYTES_A_REGISTER, Point, Table

Words = Mapping[tuple[Table, int], bytes]
"""The two bytes of a register as they came, by table and zero-based address."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """One look at a pump: what each register held and, where one gave no good value, why.

    ``values`` are those of a pump without a register map, fed by imports; else they follow from ``words``.
    """

    time_utc_ms: int
    words: Words = field(default_factory=dict)
    qualities: Mapping[str, Quality] = field(default_factory=dict)
    values: Mapping[str, float] = field(default_factory=dict)
    is_heard: bool = False
    """Taken from what another master was answered; then nothing of ours was asked for."""

    def value_at(self, point: Point) -> float | None:
        """Return what the registers say when read so, in the unit of the quantity; ``None`` if nothing.

        A value that no pump can have is returned all the same: it is what is to be explained.
        """
        data = self._bytes_of(point)
        if data is None:
            return None
        raw = raw_value(point, data)
        if raw in point.no_values or not math.isfinite(raw):
            return None
        return raw * point.factor + point.offset

    def holds(self, point: Point) -> bool:
        """Return whether the registers of a point were read."""
        return self._bytes_of(point) is not None

    def _bytes_of(self, point: Point) -> bytes | None:
        found = [self.words.get((point.table, place)) for place in range(point.address, point.end)]
        return None if None in found else b"".join(word for word in found if word is not None)


def sample_of_stored(reading: Reading, points: Iterable[Point]) -> Sample:
    """Return a stored reading as a sample: its registers are worked back from its values.

    The map must be the one it was read with. A value that was not good has no registers left.
    """
    words: dict[tuple[Table, int], bytes] = {}
    values: dict[str, float] = {}
    for point in points:
        value = getattr(reading, point.quantity.name)
        if value is not None:
            words.update(words_of(point, value))
    for name in Reading.__dataclass_fields__:
        value = getattr(reading, name)
        if isinstance(value, int | float) and name not in ("time_utc_ms", "quality", "source"):
            values[name] = float(value)
    return Sample(
        time_utc_ms=reading.time_utc_ms,
        words=words,
        qualities={name: quality for name, quality in unpack_quality(reading.quality).items() if quality},
        values=values,
        is_heard=reading.source == Source.HEARD,
    )


def words_of(point: Point, value: float) -> dict[tuple[Table, int], bytes]:
    """Return the registers in which a value stands at this point, the inverse of decoding; none if it can't.

    Scaling loses nothing: a raw value has at most 53 bits, and rounding finds it again.
    """
    raw = (value - point.offset) / point.factor
    try:
        data = point.layout.pack(raw if point.type == "f32" else round(raw))
    except (ArithmeticError, ValueError, struct.error):
        return {}
    registers = [data[place : place + BYTES_A_REGISTER] for place in range(0, len(data), BYTES_A_REGISTER)]
    if point.byte_order != point.word_order:
        registers.reverse()
    return {(point.table, point.address + place): register for place, register in enumerate(registers)}


def spread(samples: Sequence[Sample], most: int) -> list[Sample]:
    """Return at most so many samples, evenly chosen from first to last."""
    if len(samples) <= most:
        return list(samples)
    return [samples[round(place * (len(samples) - 1) / (most - 1))] for place in range(most)]
