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
    from collector.listening.exchanges import Event, Exchange
    from collector.listening.pump_ear import PumpEar
    from collector.reading import Reading
    from dashboards.views import UnitSystem

LATE_REPLY_S: Final = 1.0
"""How late an answer may be after its master's time-out; the same as a bus has unless it says otherwise."""


class HeardUnits:
    """The readings of those units for which a register map was given."""

    def __init__(self, choices: Sequence[str], show: Callable[[int, Reading], None]) -> None:
        from collector.listening.answer_order import AnswerOrder

        self._ears: dict[int, PumpEar] = dict(_ear(choice) for choice in choices)
        self._orders = {unit: AnswerOrder(LATE_REPLY_S) for unit in self._ears}
        self._show = show

    def take(self, events: Sequence[Event]) -> None:
        """Take what was heard; show each round of the master that is complete."""
        from collector.listening.exchanges import Exchange, Stray
        from collector.listening.frames import READS

        for event in events:
            if isinstance(event, Stray) and event.frame.unit in self._orders:
                self._orders[event.frame.unit].stray(event)
            elif isinstance(event, Exchange) and event.request.function in READS:
                self._exchange(event)

    def _exchange(self, exchange: Exchange) -> None:
        unit = exchange.request.unit
        if unit not in self._ears:
            return
        is_certain = self._orders[unit].is_certain(exchange)
        if exchange.answer is not None and not is_certain:
            return
        ended_s = (exchange.answer or exchange.request).ends_s
        time_utc_ms = time.time_ns() / 1e6 - (time.monotonic() - ended_s) * 1000
        self._tell(unit, self._ears[unit].take(exchange, round(time_utc_ms)))

    def finish(self) -> None:
        """Show what the last round has given."""
        for unit, ear in self._ears.items():
            self._tell(unit, ear.finish())

    def _tell(self, unit: int, readings: Sequence[Reading]) -> None:
        for reading in readings:
            self._show(unit, reading)


def _ear(choice: str) -> tuple[int, PumpEar]:
    from collector.listening.pump_ear import PumpEar
    from collector.registers import RegisterMapError, load_register_map

    unit, mark, file = choice.partition("=")
    if not mark or not unit.strip().isdigit() or not 1 <= int(unit) <= 247:
        raise Refusal(f"--map should be UNIT=MAP.toml with a unit of 1 to 247, not {choice!r}")
    try:
        return int(unit), PumpEar(f"unit {int(unit)}", load_register_map(Path(file)))
    except RegisterMapError as error:
        raise Refusal(str(error)) from error


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
