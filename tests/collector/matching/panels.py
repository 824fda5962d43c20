"""Samples of simulated drives with tables made by chance, and what is truly right about an answer.

The simulator's words and the product's are compared here by decoding in a way of its own, bit by bit.
"""

from __future__ import annotations

import random
import struct
from collections.abc import Callable, Sequence

from collector.bus.errors import refusal
from collector.matching import Sample, parse_panel
from collector.matching.explain import Explanation
from collector.registers.register_map import Table
from collector.units import to_base
from simulator.drives import Drive, RandomMap
from simulator.drives.registers import Image, Register

_LETTERS = {"u16": ">H", "i16": ">h", "u32": ">I", "i32": ">i", "f32": ">f"}
LINE_CHARACTER_S = 11 / 19200
TURN_AROUND_S = 0.004
DUTIES = ((1.0, 1.0), (0.88, 0.8), (0.72, 1.05))
"""Shares of rated speed and of the flow at the best point: the duty as a tech may change it at the panel."""


def any_duties(seed: int, count: int) -> list[tuple[float, float]]:
    """Duties of which nothing is known: 60 to 100 % of the speed, 40 to 120 % of the flow."""
    chance = random.Random(seed * 7 + 1)
    return [(chance.uniform(0.6, 1.0), chance.uniform(0.4, 1.2)) for _ in range(count)]


def samples_of(
    drive: RandomMap,
    duties: Sequence[tuple[float, float]] = DUTIES,
    unrest: float = 0.0,
    seed: int = 0,
    sees: Callable[[Image], Image] = lambda image: image,
) -> list[Sample]:
    """Samples at these duties; with ``unrest`` speed and flow stray so far [-] between image and panel."""
    chance = random.Random(seed)
    samples = []
    for place, (speed, flow) in enumerate(duties):

        def values(speed: float = speed, flow: float = flow, place: int = place) -> dict[str, float]:
            stray = [1 + unrest * chance.gauss(0, 1) for _ in range(2)]
            return drive.values_at(speed * stray[0], flow * stray[1], 0.05 * place)

        before, shown, after = (values() for _ in range(3))
        images = tuple(sees(drive.image_of(each)) for each in (before, after))
        panel = parse_panel(", ".join(drive.panel_of(shown).values()))
        samples.append(Sample(panel=panel, images=images, time_utc_ms=1_764_000_000_000 + place))
    return samples


def is_right(drive: RandomMap, quantity: str, explanation: Explanation | None) -> bool:
    """Whether it reads what the finest register of the quantity reads, at 25 duties over the whole range.

    20 to 105 % of the speed, nearly closed to run-out, up to 1000 hours on. Another register with the same
    step (a table doubled in the other one), u32 for the u16 below a word that stays 0 and i16 for u16 read
    the same, and are right.
    """
    if explanation is None:
        return False
    chance = random.Random(1)
    for _ in range(25):
        duty = chance.uniform(0.2, 1.05), chance.uniform(0.05, 1.3), chance.uniform(0, 1000)
        image = drive.image_of(drive.values_at(*duty))
        true = true_value(image, drive.truth[quantity], drive.map.order)
        if abs(read_value(image, explanation) - true) > 1e-6 * abs(true) + 1e-9:
            return False
    return True


def shows_it(drive: RandomMap, quantity: str, explanation: Explanation) -> bool:
    """Whether it reads the quantity at all, if only as a coarser copy: within the steps of both."""
    chance = random.Random(2)
    for _ in range(25):
        values = drive.values_at(
            chance.uniform(0.2, 1.05), chance.uniform(0.05, 1.3), chance.uniform(0, 1000)
        )
        read = read_value(drive.image_of(values), explanation)
        if abs(read - values[quantity]) > 0.51 * explanation.step + 1e-6 * abs(values[quantity]) + 1e-9:
            return False
    return True


def true_value(image: Image, register: Register, order: str) -> float:
    words = [image[(register.table, register.address + place)] for place in range(register.words)]
    raw = _raw(words, register.type, swapped=order in ("BADC", "DCBA"), reversed_=order in ("CDAB", "DCBA"))
    return to_base(raw * register.scale, register.unit)


def read_value(image: Image, explanation: Explanation) -> float:
    place, scale = explanation.place, explanation.scale
    words = [image[(place.table, address)] for address in place.words]
    swapped, reversed_ = place.byte_order == "little", place.word_order == "little"
    return _raw(words, place.type, swapped=swapped, reversed_=reversed_) * scale.factor + scale.offset


def _raw(words: list[int], kind: str, *, swapped: bool, reversed_: bool) -> float:
    ordered = words[::-1] if reversed_ else words
    data = b"".join(word.to_bytes(2, "little" if swapped else "big") for word in ordered)
    (raw,) = struct.unpack(_LETTERS[kind], data)
    return float(raw)


class CountedBus:
    """A drive asked without a line in between; counts the time that a line of 19200 baud would have taken.

    Request 8 characters, answer 5 and two a register, an exception 5, two silences of 3.5, 4 ms to turn round
    (Modbus over Serial Line V1.02, from memory).
    """

    def __init__(self, drive: Drive, most_registers: int = 125, refuses_odd: bool = False) -> None:
        self.drive = drive
        self.requests: list[tuple[str, int, int]] = []
        self.line_s = 0.0
        self._most = most_registers
        self._refuses_odd = refuses_odd

    def read_registers(self, unit: int, table: Table, address: int, count: int) -> bytes:
        self.requests.append((table, address, count))
        code = 4 if table == "input" else 3
        answer = self.drive.answer_bytes(
            bytes((code, *address.to_bytes(2, "big"), *count.to_bytes(2, "big")))
        )
        assert answer is not None
        refused = answer.exception_code if answer.function_code >= 0x80 else 0
        refused = 3 if count > self._most else refused or (2 if self._refuses_odd and count % 2 else 0)
        self.line_s += (8 + (5 if refused else 5 + 2 * count) + 7) * LINE_CHARACTER_S + TURN_AROUND_S
        if refused:
            raise refusal("a drive", f"{table} {address}", refused)
        return answer.encode()[1:]
