"""The small panel on a drive: four numbers with their units, rounded."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from simulator.drives.registers import DriveMap, in_unit

QUANTITIES: Final = ("speed_rpm", "power_w", "flow_m3h", "head_m")
_FEWEST_STEPS: Final = 200
"""A panel shows at least so many steps up to the rated value (common practice: three or four digits)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PanelLine:
    """How a drive's panel shows a quantity."""

    quantity: str
    unit: str
    decimals: int

    def text_of(self, value: float) -> str:
        """Return what stands on the panel for a value of the canonical name.

        >>> PanelLine(quantity="flow_m3h", unit="gpm", decimals=1).text_of(32.25)
        '142.0 gpm'
        """
        return f"{in_unit(value, self.unit):.{self.decimals}f} {self.unit}"


def panel_line(quantity: str, unit: str, rated: float) -> PanelLine:
    """Return the line for a quantity of which the drive knows the rated value (in its canonical unit).

    >>> panel_line("power_w", "hp", 1500.0).decimals
    2
    """
    decimals = 0
    while in_unit(rated, unit) * 10**decimals < _FEWEST_STEPS:
        decimals += 1
    return PanelLine(quantity=quantity, unit=unit, decimals=decimals)


def panel_of_map(drive_map: DriveMap, rated: Mapping[str, float]) -> tuple[PanelLine, ...]:
    """Return the panel of a drive that shows the units of its registers."""
    units = {register.quantity: register.unit for register in drive_map.registers}
    return tuple(panel_line(name, units[name], rated[name]) for name in QUANTITIES)
