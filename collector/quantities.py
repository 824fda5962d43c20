"""The quantities a drive may report, their names and their units inside the product.

One table for register maps, readings, the database, imports and answers: the name carries the unit.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

ValueType = Literal["real", "whole"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """A quantity by its name, with the limits outside which a value cannot be real.

    ``lowest`` and ``highest`` are in the unit of the name. They catch wrong registers and damaged
    values, not unusual operation (common practice: far wider than any building's pump).
    """

    name: str
    unit: str
    value_type: ValueType = "real"
    lowest: float = 0.0
    highest: float
    words: str


QUANTITIES: Final[tuple[Quantity, ...]] = (
    Quantity(name="speed_rpm", unit="rpm", highest=12_000, words="shaft speed"),
    Quantity(name="power_w", unit="W", highest=2_000_000, words="electrical input power at the drive"),
    Quantity(name="flow_m3h", unit="m3/h", lowest=-1_000, highest=20_000, words="volume flow"),
    Quantity(name="head_m", unit="m", lowest=-50, highest=1_000, words="total head of the pump"),
    Quantity(name="fluid_temperature_c", unit="C", lowest=-60, highest=250, words="fluid temperature"),
    Quantity(name="drive_temperature_c", unit="C", lowest=-60, highest=200, words="drive temperature"),
    Quantity(name="current_a", unit="A", highest=5_000, words="motor current"),
    Quantity(name="energy_kwh", unit="kWh", highest=1e9, words="the drive's energy counter"),
    Quantity(name="run_time_h", unit="h", highest=1e6, words="the drive's run-hour counter"),
    Quantity(name="starts", unit="", value_type="whole", highest=2**32, words="the drive's start counter"),
    Quantity(name="speed_command_pct", unit="%", lowest=-5, highest=150, words="outside speed reference"),
    Quantity(name="status_word", unit="", value_type="whole", highest=2**32, words="status bits as reported"),
    Quantity(name="fault_code", unit="", value_type="whole", highest=2**32, words="fault code, 0 for none"),
)

QUANTITY_NAMES: Final[tuple[str, ...]] = tuple(quantity.name for quantity in QUANTITIES)
CHANNELS: Final[tuple[str, ...]] = ("speed_rpm", "power_w", "flow_m3h", "head_m")
"""The four quantities whose provenance decides what may be said of a pump."""


def quantity(name: str) -> Quantity:
    """Return the quantity of this name.

    Raises
    ------
    KeyError
        When there is none of this name.

    >>> quantity("head_m").unit
    'm'
    """
    return QUANTITIES[QUANTITY_NAMES.index(name)] if name in QUANTITY_NAMES else _unknown(name)


def _unknown(name: str) -> Quantity:
    raise KeyError(f"no quantity is named {name!r}; there are: {', '.join(QUANTITY_NAMES)}")
