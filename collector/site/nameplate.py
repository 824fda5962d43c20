"""What is written down of a pump on its first day: its plates, its taps, and how it is controlled.

Nothing is judged by these; they stand on the handover sheet, and a field check and the grease reckon by them.
Each number may be written with its unit (``"100 gpm"``, ``"4 in"``); without one it is in that of its name.
"""

from __future__ import annotations

from typing import Literal

from pydantic import model_validator

from collector.site.fields import FlowM3h, HeadM, HeightM, Line, PowerW, SizeMm
from collector.toml_file import StrictTable

ControlMode = Literal[
    "constant_pressure",
    "proportional_pressure",
    "constant_speed",
    "constant_flow",
    "constant_level",
    "temperature",
    "outside_reference",
]
"""How the speed is chosen: by what is held at its value, or by an outside signal."""


class Bearing(StrictTable):
    """A bearing that is greased; ``place`` says which in the reader's own words."""

    place: Line = ""
    outside_mm: SizeMm
    width_mm: SizeMm

    @model_validator(mode="after")
    def _is_a_ring(self) -> Bearing:
        if self.width_mm >= self.outside_mm:
            sizes = f"{self.outside_mm:g} x {self.width_mm:g} mm"
            raise ValueError(f"a bearing is narrower than its outside diameter, not {sizes}")
        return self


class Nameplate(StrictTable):
    """The plates of pump and motor. Rated speed and power stand with the pump itself.

    ``motor_power_w`` [W] is the motor's rated shaft power, ``phases`` those of its supply.
    """

    make: Line = ""
    model: Line = ""
    serial: Line = ""
    rated_flow_m3h: FlowM3h | None = None
    rated_head_m: HeadM | None = None
    impeller_diameter_mm: SizeMm | None = None
    motor_power_w: PowerW | None = None
    phases: Literal[1, 3] | None = None
    seal: Line = ""
    bearings: tuple[Bearing, ...] = ()


class Taps(StrictTable):
    """Where gauges sit: inner pipe diameters, and heights of the gauges over one level that both share."""

    suction_pipe_mm: SizeMm | None = None
    discharge_pipe_mm: SizeMm | None = None
    suction_gauge_height_m: HeightM | None = None
    discharge_gauge_height_m: HeightM | None = None


class Control(StrictTable):
    """How the speed is chosen, at which duty point, and who speaks on the drive's line.

    ``bus_master`` says in the reader's words which controller asks the drive, if any does.
    """

    mode: ControlMode | None = None
    bus_master: Line = ""
    duty_flow_m3h: FlowM3h | None = None
    duty_head_m: HeadM | None = None
