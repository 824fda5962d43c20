"""A pressure gauge at a tap: how well it can be read, and how well it shows what is there."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

EVEN: Final = math.sqrt(3)
"""An error that lies anywhere within plus or minus a has the standard uncertainty a / sqrt(3) (GUM, JCGM
100:2008, 4.3.7; from memory)."""
GRADES: Final = {"4A": 0.001, "3A": 0.0025, "2A": 0.005, "1A": 0.01, "A": 0.02, "B": 0.03, "C": 0.04}
"""Permissible error as a share of span by grade: ASME B40.100, from memory; grades A to C by the outer parts
of their scale, where it is larger."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Gauge:
    """A gauge: its span [Pa], permissible error as a share of span [-], and the smallest division [Pa].

    The error is taken for one of scale (the gauge shows everything a little too large or small), even within
    the permissible; a reading is even within half a division.
    """

    span_pa: float
    error_share: float
    division_pa: float

    @property
    def scale_sd(self) -> float:
        """Return the standard uncertainty of the gauge's scale [-], its full-scale error over its span."""
        return self.error_share / EVEN

    @property
    def reading_sd_pa(self) -> float:
        """Return the standard uncertainty of reading it once [Pa]."""
        return self.division_pa / 2 / EVEN


@dataclass(frozen=True, slots=True, kw_only=True)
class Tap:
    """What was read at one side of the pump.

    ``pressure_pa`` is over the atmosphere and negative for a vacuum; ``height_m`` is the gauge's own height
    over any datum that both taps share; ``pipe_m`` is the inner diameter at the tap.
    """

    pressure_pa: float
    height_m: float
    pipe_m: float
    height_sd_m: float = 0.02
    """A tape measure in a plant room (our own choice)."""
    pipe_sd_m: float = 0.001

    def velocity_head_m(self, flow_m3h: float, gravity_m_s2: float) -> float:
        """Return the height that the fluid's speed at the tap is worth [m]."""
        speed_m_s = flow_m3h / 3600 / (math.pi * self.pipe_m**2 / 4)
        return speed_m_s**2 / (2 * gravity_m_s2)
