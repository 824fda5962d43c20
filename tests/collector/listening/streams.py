"""Streams as they run over a line, made without the code under test, and how they are hurt and cut."""

from __future__ import annotations

import random
from dataclasses import dataclass

from tests.collector.bus.serial_devices import framed


@dataclass(frozen=True)
class TrueExchange:
    """What really ran over the line: a request and its answer; empty for none."""

    request: bytes
    answer: bytes

    @property
    def both(self) -> bytes:
        return self.request + self.answer


def read(unit: int, function: int, address: int, count: int) -> bytes:
    return framed(bytes((unit, function, *address.to_bytes(2, "big"), *count.to_bytes(2, "big"))))


def answer(unit: int, function: int, data: bytes) -> bytes:
    return framed(bytes((unit, function, len(data))) + data)


def random_exchange(chance: random.Random, units: tuple[int, ...] = (1, 5, 17, 100)) -> TrueExchange:
    """What masters send: mostly reads, some refused, some unanswered, some writes."""
    unit = chance.choice(units)
    kind = chance.random()
    if kind < 0.05:
        write = framed(bytes((unit, 6)) + chance.randbytes(4))
        return TrueExchange(write, write)
    if kind < 0.08:
        count = chance.randrange(1, 20)
        head = bytes((unit, 16)) + chance.randbytes(2) + count.to_bytes(2, "big")
        return TrueExchange(framed(head + bytes((2 * count,)) + chance.randbytes(2 * count)), framed(head))
    function = chance.choice((1, 2, 3, 3, 3, 4, 4))
    count = chance.randrange(1, 60)
    request = read(unit, function, chance.randrange(0, 60_000), count)
    if kind < 0.12:
        return TrueExchange(request, framed(bytes((unit, function | 0x80, chance.randrange(1, 5)))))
    if kind < 0.15:
        return TrueExchange(request, b"")
    length = 2 * count if function > 2 else (count + 7) // 8
    # Registers are mostly small numbers: zeros and repeats, as they stand in drives.
    data = bytes(chance.choice((0, 0, 1, 3, unit, chance.randrange(256))) for _ in range(length))
    return TrueExchange(request, answer(unit, function, data))


def hurt(data: bytes, share: float, chance: random.Random) -> bytes:
    """Return the bytes with this share of them replaced by others."""
    return bytes(byte ^ chance.randrange(1, 256) if chance.random() < share else byte for byte in data)


def cut(data: bytes, chance: random.Random, longest: int = 40) -> list[bytes]:
    """Return the bytes in lumps of any length."""
    lumps = []
    while data:
        size = chance.randrange(1, longest)
        lumps.append(data[:size])
        data = data[size:]
    return lumps
