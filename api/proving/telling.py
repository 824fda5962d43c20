"""The sentences of proofs: numbers in the site's units, and why they hold or cannot be."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from api.proving.alternatives import Alternative
from api.proving.physics import Doubt, Duty
from api.proving.readings_of_map import middle
from api.proving.samples import Sample
from api.proving.stated import Stated
from collector.registers import Point
from dashboards.display import amount, percent
from dashboards.views import UnitSystem

MOST_TOLD: Final = 3
PANEL_TELLS: Final = "type what the panel shows (--panel)"


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """Tells values in the units of a site."""

    system: UnitSystem

    def amount(self, value: float | None, name: str) -> str:
        """Return a value with its unit, for a terminal."""
        return amount(value, name, self.system).replace("\N{NO-BREAK SPACE}", " ")

    def unnatural(self, name: str, point: Point, samples: Sequence[Sample], better: Point | None) -> str:
        """Say that a 32-bit value is none that a drive sends, and what it would be."""
        value = middle(samples, {name: point}, name)
        now = "no number" if value is None else f"{value:.4g} {point.quantity.unit}".strip()
        would = None if better is None else middle(samples, {name: better}, name)
        if would is None:
            return f"reads {now}, which no drive sends; no order or type of 32 bits makes sense of it"
        return f"reads {now}, which no drive sends; so read it is {self.amount(would, name)}"

    def rival(self, name: str, each: Alternative, samples: Sequence[Sample]) -> str:
        """Say what a channel would read after a change, and the change."""
        value = middle(samples, each.points, name)
        changes = " and ".join(f"{change.key} = {change.to}" for change in each.changes)
        return f"{self.amount(value, name)} ({changes})"

    def holds(self, name: str, duty: Duty, stated: Stated) -> str:
        """Say what a channel is, and what it was held against."""
        value = getattr(duty, name)
        against = [part for part in _AGAINST[name](duty, stated) if part]
        return ", ".join([self.amount(value, name), *against])

    def doubt(self, doubt: Doubt, duty: Duty, stated: Stated) -> str:
        """Say which limit was passed, with its numbers."""
        seen = " ".join(f"{self.amount(getattr(duty, name), name)}," for name in doubt.channels)
        return f"{seen.rstrip(',')}: {_DOUBTS[doubt.name](duty, stated)}"


def _of_rated_speed(duty: Duty, stated: Stated) -> str:
    if duty.speed_rpm is None or stated.rated_speed_rpm is None:
        return ""
    return f"{_pct(duty.speed_rpm / stated.rated_speed_rpm)} of the rated {stated.rated_speed_rpm:g} rpm"


def _of_rated_power(duty: Duty, stated: Stated) -> str:
    if duty.power_w is None or stated.rated_power_w is None:
        return ""
    return f"{_pct(duty.power_w / stated.rated_power_w)} of the rated {stated.rated_power_w:g} W"


def _wire_to_water(duty: Duty, stated: Stated) -> str:
    efficiency = duty.efficiency(stated.density_kg_m3)
    return "" if efficiency is None else f"{_pct(efficiency)} of the power reaches the water"


def _of_printed_head(duty: Duty, stated: Stated) -> str:
    if duty.speed_rpm is None or duty.flow_m3h is None or duty.head_m is None:
        return ""
    printed_m = stated.printed_head_m(duty.flow_m3h, duty.speed_rpm)
    return (
        f"{_pct(duty.head_m / printed_m)} of the data sheet's head at this flow and speed"
        if printed_m
        else ""
    )


def _of_printed_power(duty: Duty, stated: Stated) -> str:
    if duty.speed_rpm is None or duty.flow_m3h is None or duty.power_w is None:
        return ""
    printed_w = stated.printed_power_w(duty.flow_m3h, duty.speed_rpm)
    return f"{_pct(duty.power_w / printed_w)} of the data sheet's power there" if printed_w else ""


def _of_printed_flow(duty: Duty, stated: Stated) -> str:
    end, rated = stated.largest_flow_m3h, stated.rated_speed_rpm
    if end is None or rated is None or not duty.flow_m3h or not duty.speed_rpm:
        return ""
    return f"{_pct(duty.flow_m3h * rated / duty.speed_rpm / end)} of where the data sheet ends at this speed"


def _pct(share: float) -> str:
    return percent(share).replace("\N{NO-BREAK SPACE}", " ")


_AGAINST: Final[Mapping[str, Callable[[Duty, Stated], tuple[str, ...]]]] = {
    "speed_rpm": lambda duty, stated: (_of_rated_speed(duty, stated),),
    "power_w": lambda duty, stated: (_of_rated_power(duty, stated), _of_printed_power(duty, stated)),
    "flow_m3h": lambda duty, stated: (_wire_to_water(duty, stated), _of_printed_flow(duty, stated)),
    "head_m": lambda duty, stated: (_wire_to_water(duty, stated), _of_printed_head(duty, stated)),
}
_DOUBTS: Final[Mapping[str, Callable[[Duty, Stated], str]]] = {
    "speed": lambda duty, stated: _of_rated_speed(duty, stated) or "no pump runs so",
    "power": lambda duty, stated: _of_rated_power(duty, stated) + " at this speed",
    "energy": lambda duty, stated: _wire_to_water(duty, stated) + ", more than any pump gives",
    "energy_low": lambda duty, stated: _wire_to_water(duty, stated) + ", little for a pump in its range",
    "sheet_flow": _of_printed_flow,
    "sheet_head": _of_printed_head,
    "sheet_power": _of_printed_power,
    "sheet_energy": lambda duty, stated: _wire_to_water(duty, stated) + ", not as the data sheet has it",
}
