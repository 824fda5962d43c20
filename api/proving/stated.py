"""What the site file states of a pump, as far as readings can be held against it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise

from api.analysis.fluids import density_kg_m3
from collector.site import DataSheetPoint, Pump


@dataclass(frozen=True, slots=True, kw_only=True)
class Stated:
    """Rated values, the fluid's density, and the maker's printed curve by rising flow, at rated speed.

    ``places`` says at which line of the site file each key stands; a key without one stands nowhere.
    """

    rated_speed_rpm: float | None = None
    rated_power_w: float | None = None
    fluid_temperature_c: float | None = None
    density_kg_m3: float = 998.2
    sheet: tuple[DataSheetPoint, ...] = ()
    places: Mapping[str, str] = field(default_factory=dict)

    def place(self, key: str) -> str:
        """Return the file and line of a key."""
        return self.places.get(key, "site file")

    @property
    def largest_flow_m3h(self) -> float | None:
        """Return where the printed curve ends [m3/h]; ``None`` without one, or without rated speed."""
        usable = self.rated_speed_rpm is not None and len(self.sheet) > 1
        return self.sheet[-1].flow_m3h if usable else None

    def printed_head_m(self, flow_m3h: float, speed_rpm: float) -> float | None:
        """Return the printed head at a flow and speed [m], by the affinity laws (ISO 17769-1, from memory).

        Beyond the last point the last slope goes on, down to nothing. ``None`` without a curve.
        """
        return self._printed([point.head_m for point in self.sheet], flow_m3h, speed_rpm, power=2)

    def printed_power_w(self, flow_m3h: float, speed_rpm: float) -> float | None:
        """Return the printed power at a flow and speed [W]; ``None`` where a point of the curve has none."""
        powers = [point.power_w for point in self.sheet if point.power_w is not None]
        whole = len(powers) == len(self.sheet)
        return self._printed(powers, flow_m3h, speed_rpm, power=3) if whole else None

    def _printed(self, values: list[float], flow_m3h: float, speed_rpm: float, power: int) -> float | None:
        if self.largest_flow_m3h is None or self.rated_speed_rpm is None or speed_rpm <= 0:
            return None
        share = speed_rpm / self.rated_speed_rpm
        flows = [point.flow_m3h for point in self.sheet]
        return max(0.0, _along(flows, values, flow_m3h / share)) * share**power


def stated_of(pump: Pump, places: Mapping[str, str] | None = None) -> Stated:
    """Return what the site file states of a pump, and where."""
    return Stated(
        rated_speed_rpm=pump.rated_speed_rpm,
        rated_power_w=pump.rated_power_w,
        fluid_temperature_c=pump.fluid_temperature_c,
        density_kg_m3=density_kg_m3(pump.fluid, pump.fluid_temperature_c, pump.glycol_mass_pct),
        sheet=tuple(sorted(pump.data_sheet, key=lambda point: point.flow_m3h)),
        places=places or {},
    )


def _along(flows: list[float], values: list[float], flow: float) -> float:
    """Return the value at a flow on straight lines between the points; the last line goes on."""
    pieces = list(pairwise(zip(flows, values, strict=True)))
    (x, y), (x1, y1) = next((piece for piece in pieces if flow <= piece[1][0]), pieces[-1])
    if flow <= flows[0] or x1 == x:
        return values[0] if flow <= flows[0] else y1
    return y + (y1 - y) * (flow - x) / (x1 - x)
