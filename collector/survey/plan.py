"""What to ask: a few reads that most drives answer, if only with an exception."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from collector.bus.line_setting import BITS_A_CHARACTER, LineSetting, parse_line_setting
from collector.bus.pdu import RegisterTable
from collector.site import Bus

Read = tuple[RegisterTable, int, int]
"""Table, zero-based address, count."""

FIRST: Final[Read] = ("holding", 0, 1)
"""Every drive answers it: with data, or with the exception that it has no such function or register."""
AGAIN: Final[tuple[Read, ...]] = (("input", 0, 1), ("holding", 0, 2))
"""For who was damaged, or is thoroughly looked for. Of other shapes, so that none waits for a late answer."""
ADDRESSES: Final = (0, 1, 10, 100, 200, 1000, 2000)
"""Where registers often begin (common practice)."""
PLACES: Final[tuple[Read, ...]] = tuple(
    (table, address, 1) for address in ADDRESSES for table in ("holding", "input")
)  # fmt: skip
PLACES_WORDS: Final = (
    f"the holding and the input registers {', '.join(map(str, ADDRESSES[:-1]))} and {ADDRESSES[-1]} "
    "(counted from 0)"
)
LONG_COUNTS: Final = (4, 8, 16, 32, 64)
"""In this order, since a long read that is refused is waited for as long as its answer would take."""
PLACES_COMPARED: Final = 3
"""Of those that give data, for the one that gives most at once."""
TRIES: Final = 2
LONGEST_SETTLING_S: Final = 0.2
"""After a read that failed, so that what is left of its answer is not taken for the next one's [s]."""
SOUGHT_REQUESTS: Final = 20
"""About so many look for the data of a unit."""
REQUEST_BYTES: Final = 8
"""Of a read of registers, in serial framing."""
USUAL_BYTES: Final = 40
"""Of a request and its answer, for the estimate."""
USUAL_TURN_AROUND_S: Final = 0.01

LIKELY_SETTINGS: Final = tuple(
    parse_line_setting(f"{baud} {characters}")
    for baud in (19_200, 9_600, 38_400, 115_200, 57_600)
    for characters in ("8E1", "8N1", "8N2", "8O1")
)
"""The default of the standard first (19200 8E1; serial line specification V1.02, 2.5.1, from memory)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveyPlan:
    """Whom to ask at each setting, and how long to wait for the first byte of each answer [s].

    ``is_thorough`` asks who is silent twice more, with other functions: three times the time. ``rounds`` long
    reads, and half as many short ones, are asked of who was found, for its times and its errors. Unless told
    otherwise, all asking ends when requests of another master are heard.
    """

    units: tuple[int, ...]
    timeout_s: float = 0.5
    is_thorough: bool = False
    rounds: int = 8
    ends_at_another_master: bool = True

    @property
    def asks_a_unit(self) -> int:
        """How often somebody silent is asked."""
        return 1 + (len(AGAIN) if self.is_thorough else 0)

    @property
    def settling_s(self) -> float:
        """How long to wait after a read that failed [s]."""
        return min(self.timeout_s, LONGEST_SETTLING_S)

    def longest_s(self, bus: Bus, units: int) -> float:
        """Return how long so many units take when nobody answers [s]: what can't be avoided."""
        line_s = 0.0
        if bus.kind == "serial":
            line_s = REQUEST_BYTES * bus.line_setting.character_s + bus.line_setting.silence_s
        return units * self.asks_a_unit * (self.timeout_s + line_s)

    def usual_timing_s(self, bus: Bus, units: int) -> float:
        """Return about how long it takes to time so many units that answer [s]."""
        requests = units * (SOUGHT_REQUESTS + 3 * self.rounds // 2)
        return requests * (USUAL_TURN_AROUND_S + USUAL_BYTES * BITS_A_CHARACTER / bus.line_baud)


def at_setting(bus: Bus, setting: LineSetting | None) -> Bus:
    """Return the bus with a line setting; a network host has none."""
    if setting is None:
        return bus
    words = {"baud": setting.baud, "parity": setting.parity, "stop_bits": setting.stop_bits}
    return Bus.model_validate(bus.model_dump(exclude_unset=True) | words)
