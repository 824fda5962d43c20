"""A line on which everything goes wrong at once, seeded: readings may be lost, none may be wrong."""

from __future__ import annotations

import random
from collections import Counter

import pytest

from collector.bus import BusError, ReadOnlyBus
from tests.collector.bus.serial_devices import (
    Reply,
    framed,
    honest,
    on_pseudo_terminal,
    registers,
    serial_bus,
)


class Chaos:
    """A drive, a line and neighbours that misbehave in one case of three."""

    def __init__(self, seed: int) -> None:
        self._chance = random.Random(seed)
        self._before = b""

    def answer(self, request: bytes) -> Reply:
        right = honest(request)
        before, self._before = self._before, right
        if self._chance.random() > 1 / 3:
            return right
        return self._chance.choice(
            [
                self._damaged(right),
                self._without_a_byte(right),
                self._noise() + right,
                right + self._noise(),
                right + right,
                before + right,
                right[:-3],
                request,
                request + right,
                framed(bytes((request[0] ^ 3, *right[1:-2]))),
                framed(right[:1] + b"\x04" + right[2:-2]),
                framed(bytes((request[0], request[1] | 0x80, self._chance.choice([1, 2, 4, 6])))),
                framed(right[:2] + b"\x02" + right[3:5]),
                [(0.03, right)],
                b"",
            ]
        )

    def _noise(self) -> bytes:
        return self._chance.randbytes(self._chance.randrange(1, 30))

    def _damaged(self, frame: bytes) -> bytes:
        """Flip up to sixteen neighbouring bits: the checksum notices every such burst."""
        place = self._chance.randrange(8 * len(frame) - 16)
        burst = self._chance.randrange(1, 1 << 16)
        return (int.from_bytes(frame, "big") ^ (burst << place)).to_bytes(len(frame), "big")

    def _without_a_byte(self, frame: bytes) -> bytes:
        place = self._chance.randrange(len(frame))
        return frame[:place] + frame[place + 1 :]


def count(reads: int, seed: int) -> Counter[str]:
    results: Counter[str] = Counter()
    chance = random.Random(seed)
    with on_pseudo_terminal(Chaos(seed).answer) as drive:
        with ReadOnlyBus(serial_bus(drive, timeout_s=0.02, late_reply_s=0.03)) as bus:
            for _ in range(reads):
                unit, address, registers_asked = chance.choice([4, 5]), chance.randrange(1 << 16), 12
                address = min(address, (1 << 16) - registers_asked)
                try:
                    data = bus.read_registers(unit, "holding", address, registers_asked)
                except BusError as error:
                    results[error.kind] += 1
                else:
                    results["right" if data == registers(address, registers_asked) else "wrong"] += 1
    return results


@pytest.mark.parametrize("seed", [1, 2])
def test_of_four_hundred_reads_in_chaos_none_is_wrong(seed: int) -> None:
    results = count(400, seed)
    assert results["wrong"] == 0
    assert results["right"] > 40
    assert len(results) >= 4
