"""What units answer to another master, shown as readings while it is heard."""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from api.commands import Refusal

if TYPE_CHECKING:
    from collector.listening.exchanges import Event
    from collector.listening.unit_ear import UnitEar
    from collector.reading import Reading
    from dashboards.views import UnitSystem

LATE_REPLY_S: Final = 1.0
"""How late an answer may be after its master's time-out; the same as a bus has unless it says otherwise."""


class HeardUnits:
    """The readings of those units for which a register map was given."""

    def __init__(self, choices: Sequence[str], show: Callable[[int, Reading], None]) -> None:
        self._ears: dict[int, UnitEar] = {}
        for choice in choices:
            ear = _ear(choice)
            if ear.unit in self._ears:
                raise Refusal(f"--map: unit {ear.unit} has two maps; give it one")
            self._ears[ear.unit] = ear
        self._show = show

    def take(self, events: Sequence[Event]) -> None:
        """Take what was heard; show each round of the master that is complete."""
        for event in events:
            for ear in self._ears.values():
                self._tell(ear.unit, ear.take(event))

    def finish(self) -> None:
        """Show what the last round has given."""
        for ear in self._ears.values():
            self._tell(ear.unit, ear.finish())

    def _tell(self, unit: int, readings: Sequence[Reading]) -> None:
        for reading in readings:
            self._show(unit, reading)


def _ear(choice: str) -> UnitEar:
    from collector.listening.unit_ear import UnitEar
    from collector.registers import RegisterMapError, load_register_map

    words, mark, file = choice.partition("=")
    if not mark or not words.strip().isdigit() or not 1 <= int(words) <= 247:
        raise Refusal(f"--map should be UNIT=MAP.toml with a unit of 1 to 247, not {choice!r}")
    try:
        register_map = load_register_map(Path(file))
    except RegisterMapError as error:
        raise Refusal(str(error)) from error
    unit = int(words)
    return UnitEar(f"unit {unit}", unit, register_map, LATE_REPLY_S, _utc_ms)


def _utc_ms(time_s: float) -> int:
    """Return the instant of a time of the port's clock, which is the monotonic one."""
    return round(time.time_ns() / 1e6 - (time.monotonic() - time_s) * 1000)


def print_json(unit: int, reading: Reading) -> None:
    """Print a reading as one line of JSON."""
    from collector.quantities import QUANTITY_NAMES

    told: dict[str, Any] = {"unit": unit, "time_utc": _at(reading).isoformat().replace("+00:00", "Z")}
    told |= {name: value for name in QUANTITY_NAMES if (value := getattr(reading, name)) is not None}
    print(json.dumps(told | {"source": reading.source.name.lower()}), flush=True)


def print_in(system: UnitSystem) -> Callable[[int, Reading], None]:
    """Return what prints a reading as a person reads it, in SI or US units."""

    def show(unit: int, reading: Reading) -> None:
        from collector.quantities import QUANTITY_NAMES
        from dashboards.display import amount
        from dashboards.wording.terms import QUANTITIES

        values = [
            f"{QUANTITIES[name].name.lower()} {amount(value, name, system)}"
            for name in QUANTITY_NAMES
            if (value := getattr(reading, name)) is not None
        ]
        print(f"{_at(reading).astimezone():%H:%M:%S} unit {unit}: {', '.join(values)}", flush=True)

    return show


def _at(reading: Reading) -> datetime:
    return datetime.fromtimestamp(reading.time_utc_ms / 1000, UTC)
