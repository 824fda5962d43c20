"""On a line where answers are late, short, foreign or damaged, what is heard is right or missing, not wrong.

In the line's own time, so that minutes take a second; ``tests/bench_listening.py`` runs hours. A second
promise keeps the first honest: with the guard of the order switched off the same line gives wrong values.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest

from collector.bus.line_setting import parse_line_setting
from collector.listening import listen_at
from collector.listening.answer_order import AnswerOrder
from collector.listening.exchanges import Event, Exchange
from collector.listening.unit_ear import UnitEar
from collector.reading import Reading
from collector.registers import load_register_map
from simulator.lines import BadWire, Disturbance, ForeignMaster, SharedLine
from tests.collector.listening.lines import SHOWN, LinePort, drives, simulated

SETTING = parse_line_setting("19200 8E1")
MAP_A = Path(__file__).parents[3] / "api" / "demo" / "maps" / "a.toml"
READS = ((1, 3, 10, 2), (1, 3, 20, 2), (1, 3, 22, 2), (1, 3, 12, 2), (5, 4, 100, 4))
"""Four blocks of one shape of drive A, in an order in which a shift by one shows; and another drive."""
RIGHT = {**SHOWN, "speed_command_pct": None, "fluid_temperature_c": None, "drive_temperature_c": None}
TROUBLES = {
    "late": (Disturbance(late=0.1, late_s=0.21), BadWire()),
    "very late": (Disturbance(late=0.05, late_s=0.5), BadWire()),
    "short, foreign or refused": (
        Disturbance(short=0.1, foreign=0.1, exception=0.1, wrong_function=0.05),
        BadWire(),
    ),
    "silent or late": (Disturbance(silence=0.15, late=0.1, late_s=0.22), BadWire()),
    "damaged": (Disturbance(), BadWire(damaged_bytes=0.02, noise_per_s=2.0)),
    "late and damaged": (Disturbance(late=0.1, late_s=0.22), BadWire(damaged_bytes=0.005)),
}


LEAST_READINGS = {**dict.fromkeys(TROUBLES, 40), "damaged": 10}
"""Of 80 rounds. Each damage may hide a request, so where one byte in fifty is damaged little is believed."""


def believe_all(order: AnswerOrder, event: Event) -> bool:
    """A guard that believes everything."""
    return isinstance(event, Exchange)


def readings_on(trouble: str, seconds: float, seed: int = 11) -> list[Reading]:
    disturbance, wire = TROUBLES[trouble]
    master = ForeignMaster(reads=READS, every_s=1.5, timeout_s=0.2)
    line = SharedLine(simulated(SETTING), drives(), [master], disturbance=disturbance, wire=wire, seed=seed)
    ear = UnitEar("A", 1, load_register_map(MAP_A), 1.0, lambda time_s: round(1000 * time_s))
    readings: list[Reading] = []

    def take(events: Sequence[Event]) -> None:
        for event in events:
            readings.extend(ear.take(event))

    listen_at(LinePort(line, lump_s=0.004), SETTING, seconds, threading.Event(), heard=take)
    return readings


def wrong(readings: list[Reading]) -> Iterator[tuple[str, float]]:
    for reading in readings:
        for name, right in RIGHT.items():
            value = getattr(reading, name)
            if value is not None and value != pytest.approx(right, abs=0.06):
                yield name, value


@pytest.mark.parametrize("trouble", TROUBLES)
def test_what_is_heard_on_a_bad_line_is_right_or_missing(trouble: str) -> None:
    readings = readings_on(trouble, 120.0)
    assert list(wrong(readings)) == []
    assert len(readings) >= LEAST_READINGS[trouble]


def test_without_the_guard_late_answers_would_be_taken_for_others(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(AnswerOrder, "is_certain", believe_all)
    assert list(wrong(readings_on("late", 120.0)))
