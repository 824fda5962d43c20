"""Which line of a manual's table is likely which quantity: by its words, proposed and never taken unasked."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Final

_NOT_A_READING: Final = re.compile(
    r"set ?-?point|\bset\b|limit|\bmax|\bmin\b|minimum|rated|nominal|ramp|target|reset|factor|preset|average"
    r"|total volume|alarm limit|warning|scal|unit\b|delay|source|mode|configured|enable"
)
_WORDS: Final[tuple[tuple[str, str], ...]] = (
    ("speed_command_pct", r"speed (reference|command)|reference signal|external reference"),
    ("speed_rpm", r"\bspeed\b|\brpm\b"),
    ("energy_kwh", r"\benergy\b|\bkwh\b"),
    ("power_w", r"\bpower\b"),
    ("flow_m3h", r"\bflow( rate)?\b"),
    ("head_m", r"\bhead\b|differential pressure|delta ?-?p\b"),
    ("fluid_temperature_c", r"(fluid|liquid|water|medium|media) temp"),
    ("drive_temperature_c", r"(drive|heat ?sink|electronics|inverter|converter) temp"),
    ("current_a", r"(motor|output|actual) current|^current$"),
    ("run_time_h", r"(run|running|operating|operation|motor) ?-?(time|hours)"),
    ("starts", r"\bstarts\b|start (counter|count)|number of starts"),
    ("fault_code", r"(fault|alarm|error) ?-?(code|number)"),
    ("status_word", r"status ?-?(word|register|bits)"),
)
"""Tried in this order: an energy is no power, and a reference no speed."""


def proposal(name: str) -> str | None:
    """Return the quantity that a line's name stands for, ``None`` when the words do not say.

    >>> proposal("Actual speed"), proposal("Speed setpoint"), proposal("Energy counter")
    ('speed_rpm', None, 'energy_kwh')
    """
    words = " ".join(name.lower().split())
    if _NOT_A_READING.search(words):
        return None
    return next((quantity for quantity, pattern in _WORDS if re.search(pattern, words)), None)


def proposals(names: Sequence[str]) -> dict[str, list[int]]:
    """Return for each quantity the places of the lines that may stand for it."""
    found: dict[str, list[int]] = {}
    for place, name in enumerate(names):
        quantity = proposal(name)
        if quantity is not None:
            found.setdefault(quantity, []).append(place)
    return found
