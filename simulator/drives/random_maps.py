"""Register tables made by chance, for trials in which nobody may know the table beforehand.

About two hundred registers: the four quantities that a panel shows, and what lies about them in real drives:
copies in other units, setpoints and limits that hold still, counters, currents and temperatures, settings,
texts, holes that answer exception 2. The same seed gives the same table everywhere.
"""

from __future__ import annotations

import random
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

from simulator.drives.panel import QUANTITIES, PanelLine, panel_line
from simulator.drives.registers import DriveMap, Image, Order, Register, Table, ValueType, image_of, in_unit

_UNITS: Final[Mapping[str, tuple[str, ...]]] = {
    "speed_rpm": ("rpm",),
    "power_w": ("W", "kW", "hp"),
    "flow_m3h": ("m3/h", "L/s", "gpm"),
    "head_m": ("m", "ft", "kPa", "psi"),
}
_PANEL_UNITS: Final = (
    {"speed_rpm": "rpm", "power_w": "W", "flow_m3h": "m3/h", "head_m": "m"},
    {"speed_rpm": "rpm", "power_w": "kW", "flow_m3h": "m3/h", "head_m": "m"},
    {"speed_rpm": "rpm", "power_w": "W", "flow_m3h": "gpm", "head_m": "ft"},
    {"speed_rpm": "rpm", "power_w": "hp", "flow_m3h": "gpm", "head_m": "ft"},
)
_SCALES: Final = (0.001, 0.01, 0.1, 1.0, 10.0, 100.0)
_LARGEST: Final[Mapping[ValueType, float]] = {"u16": 52_000, "i16": 26_000, "u32": 1e9, "i32": 1e9}
_TYPES: Final[tuple[ValueType, ...]] = ("u16", "i16", "u32", "i32", "f32")
_ORDERS: Final[tuple[Order, ...]] = ("ABCD", "CDAB", "BADC", "DCBA")
_WORDS_IN_ALL: Final = 200
_FEWEST_STEPS: Final = 100
"""A quantity that a panel shows has at least so many steps up to its rated value."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RandomMap:
    """A table with what is true of it."""

    map: DriveMap
    truth: Mapping[str, Register]
    """By quantity: of the registers that show it, the one with the finest step."""
    twins: Mapping[str, tuple[Register, ...]]
    """By quantity: the other registers that show it too, coarser, in another unit or in the other table."""
    decoys: tuple[Register, ...]
    """Everything else that has a meaning."""
    filler: Image
    """Words without one."""
    panel: tuple[PanelLine, ...]
    rated: Mapping[str, float]
    """The rated value of each of the four quantities."""
    fixed: Mapping[str, float]
    """Setpoints and limits: what they stand at."""

    def image_of(self, values: Mapping[str, float]) -> Image:
        """Return the words of all registers for values in canonical units."""
        return self.filler | image_of(self.map, self._all_values(values))

    def panel_of(self, values: Mapping[str, float]) -> dict[str, str]:
        """Return by quantity what stands on the panel, with its unit."""
        return {line.quantity: line.text_of(values[line.quantity]) for line in self.panel}

    def values_at(self, speed_share: float, flow_share: float, hours: float = 0.0) -> dict[str, float]:
        """Return a pump's values at a share of its rated speed, after so many hours there.

        ``flow_share`` is the flow over that at the best point at this speed; affinity laws throughout.
        """
        power_w = self.rated["power_w"] * speed_share**3 * (0.45 + 0.55 * flow_share)
        return {
            "speed_rpm": self.rated["speed_rpm"] * speed_share,
            "power_w": power_w,
            "flow_m3h": self.rated["flow_m3h"] * speed_share * flow_share,
            "head_m": self.rated["head_m"] * speed_share**2 * (1.25 - 0.25 * flow_share**2),
            "energy_kwh": self.fixed["energy_begins_kwh"] + power_w * hours / 1000,
            "run_time_h": self.fixed["run_time_begins_h"] + hours,
            "starts": self.fixed["starts_begin"],
        }

    def _all_values(self, values: Mapping[str, float]) -> dict[str, float]:
        speed = values["speed_rpm"] / self.rated["speed_rpm"]
        load = values["power_w"] / self.rated["power_w"]
        follows = {
            "speed_pct": 100 * speed,
            "speed_command_pct": 100 * speed + 0.3,
            "frequency_hz": 50 * speed,
            "current_a": 0.4 + load * self.rated["power_w"] / 640,
            "drive_temperature_c": 28 + 22 * load,
            "fluid_temperature_c": 41.0,
            "mains_v": 398.0 + 3 * (1 - load),
            "energy_kwh": self.fixed["energy_begins_kwh"],
            "run_time_h": self.fixed["run_time_begins_h"],
            "starts": self.fixed["starts_begin"],
        }
        return {**self.fixed, **follows, **values}


def random_drive_map(seed: int) -> RandomMap:
    """Return the table of a seed.

    >>> random_drive_map(7) == random_drive_map(7)
    True
    """
    return _Maker(seed).made()


class _Maker:
    def __init__(self, seed: int) -> None:
        self._seed = seed
        self._chance = random.Random(seed)
        self.rated = self._pump()
        self._family: ValueType = self._chance.choice(_TYPES)
        self._table: Table = self._chance.choice(("input", "holding"))
        self._fixed = self._fixed_values()

    def made(self) -> RandomMap:
        chance = self._chance
        panel_units = chance.choice(_PANEL_UNITS)
        found = {name: self._shown(name, panel_units[name]) for name in QUANTITIES}
        copies = [copy for name in QUANTITIES for copy in self._copies(found[name])]
        groups = [
            self._shuffled([*found.values(), *self._followers()]),
            self._shuffled(copies),
            self._shuffled(self._standing_still()),
            self._counters(),
        ]
        placed, filler = self._placed(groups)
        if chance.random() < 0.2:
            other: Table = "holding" if self._table == "input" else "input"
            placed += [replace(register, table=other) for register in placed]
            filler |= {(other, address): word for (_, address), word in filler.items()}
        return self._map(placed, filler, panel_units)

    def _map(self, placed: list[Register], filler: Image, panel_units: Mapping[str, str]) -> RandomMap:
        showing = {name: [each for each in placed if each.quantity == name] for name in QUANTITIES}
        truth = {name: min(registers, key=_step) for name, registers in showing.items()}
        twins = {
            name: tuple(each for each in registers if each is not truth[name])
            for name, registers in showing.items()
        }
        return RandomMap(
            map=DriveMap(
                name=f"random {self._seed}", words="made by chance", order=self._chance.choice(_ORDERS),
                one_based=False, registers=tuple(placed), identification=("Simulated drive", "random", "1"),
            ),
            truth=truth,
            twins=twins,
            decoys=tuple(each for each in placed if each.quantity not in QUANTITIES),
            filler=filler,
            panel=tuple(panel_line(name, unit, self.rated[name]) for name, unit in panel_units.items()),
            rated=self.rated,
            fixed=self._fixed,
        )  # fmt: skip

    def _pump(self) -> dict[str, float]:
        """Return rated values that belong together: 45 to 80 % of the input power reaches the water."""
        chance = self._chance
        power_w = 150 * 100 ** chance.random()
        head_m = chance.uniform(4, 30)
        flow_m3h = power_w * chance.uniform(0.45, 0.8) * 3600 / (998.2 * 9.80665 * head_m)
        speed_rpm = chance.choice((1450.0, 1750.0, 2900.0, 3500.0, 4800.0))
        return {"speed_rpm": speed_rpm, "power_w": power_w, "flow_m3h": flow_m3h, "head_m": head_m}

    def _fixed_values(self) -> dict[str, float]:
        chance, rated = self._chance, self.rated
        return {
            "speed_setpoint_rpm": rated["speed_rpm"] * chance.uniform(0.6, 1.0),
            "lowest_speed_rpm": rated["speed_rpm"] * chance.uniform(0.2, 0.4),
            "rated_speed_rpm": rated["speed_rpm"],
            "power_limit_w": rated["power_w"] * chance.uniform(0.7, 1.1),
            "rated_power_w": rated["power_w"],
            "flow_limit_m3h": rated["flow_m3h"] * chance.uniform(0.6, 1.1),
            "head_setpoint_m": rated["head_m"] * chance.uniform(0.5, 1.1),
            "highest_head_m": rated["head_m"] * 1.25,
            "energy_begins_kwh": chance.uniform(10, 40_000),
            "run_time_begins_h": chance.uniform(5, 30_000),
            "starts_begin": float(chance.randrange(3, 4000)),
        }

    def _shown(self, quantity: str, panel_unit: str) -> Register:
        """Return the register behind a line of the panel: often in the panel's unit, mostly of one type."""
        chance = self._chance
        unit = panel_unit if chance.random() < 0.6 else chance.choice(_UNITS[quantity])
        type_ = self._family if chance.random() < 0.8 else chance.choice(_TYPES)
        return self._register(quantity, unit, type_, self.rated[quantity])

    def _register(self, quantity: str, unit: str, type_: ValueType, largest: float) -> Register:
        scale = 1.0 if type_ == "f32" else self._chance.choice(_scales(in_unit(largest, unit), type_))
        return Register(
            quantity=quantity, address=0, table=self._table, type=type_, scale=scale, unit=unit
        )  # fmt: skip

    def _copies(self, shown: Register) -> list[Register]:
        """Return up to two coarser registers of the same quantity."""
        chance, name = self._chance, shown.quantity
        made = [
            Register(quantity=name, address=0, table=self._table, type=type_, scale=scale, unit=unit)
            for unit in _UNITS[name]
            for type_ in ("u16", "i16")
            for scale in _scales(in_unit(self.rated[name], unit), type_)
        ]
        coarser = [copy for copy in made if _step(copy) > 1.01 * _step(shown)]
        return chance.sample(coarser, min(len(coarser), chance.randrange(3)))

    def _followers(self) -> list[Register]:
        """Return what moves with the pump, but is none of the four."""
        tenths = [("speed_pct", "%"), ("speed_command_pct", "%"), ("frequency_hz", "Hz"), ("mains_v", "V")]
        coarse = [("drive_temperature_c", "C"), ("fluid_temperature_c", "F")]
        made = [self._plain(name, unit, 0.1) for name, unit in [*tenths, *coarse]]
        return [*made, self._plain("current_a", "A", 0.01)]

    def _plain(self, quantity: str, unit: str, scale: float) -> Register:
        if self._family == "f32":
            scale = 1.0
        return Register(
            quantity=quantity, address=0, table=self._table, type=self._family, scale=scale, unit=unit
        )

    def _standing_still(self) -> list[Register]:
        """Return setpoints and limits, in the units and types that the quantities have."""
        kinds = {"rpm": "speed_rpm", "w": "power_w", "m3h": "flow_m3h", "m": "head_m"}
        made = []
        for name, value in self._fixed.items():
            kind = kinds.get(name.rsplit("_", 1)[1])
            if kind is not None:
                made.append(self._register(name, self._chance.choice(_UNITS[kind]), self._family, value))
        return made

    def _counters(self) -> list[Register]:
        kinds = (("energy_kwh", "kWh", 0.1), ("run_time_h", "h", 1.0), ("starts", "", 1.0))
        return [
            Register(quantity=name, address=0, table=self._table, type="u32", scale=scale, unit=unit)
            for name, unit, scale in kinds
        ]

    def _shuffled(self, registers: list[Register]) -> list[Register]:
        return self._chance.sample(registers, len(registers))

    def _placed(self, groups: list[list[Register]]) -> tuple[list[Register], Image]:
        """Lay the groups out with filler and holes between them."""
        chance = self._chance
        words_left = _WORDS_IN_ALL - sum(each.words for group in groups for each in group)
        chance.shuffle(groups)
        address, placed, filler = chance.randrange(8), [], {}
        for group in groups:
            for register in group:
                placed.append(replace(register, address=address))
                address += register.words
            address += chance.randrange(8)
            for word in self._filler_words(words_left // len(groups)):
                filler[(self._table, address)] = word
                address += 1
            address += chance.randrange(1, 8)
        return placed, filler

    def _filler_words(self, count: int) -> list[int]:
        chance = self._chance
        kinds = (
            lambda: 0,
            lambda: chance.randrange(10),
            lambda: chance.randrange(5000),
            lambda: chance.randrange(65_536),
            lambda: int.from_bytes(chance.choice((b"pu", b"mp", b"dr", b"iv", b"e ", b"v1")), "big"),
        )
        return [chance.choice(kinds)() for _ in range(count)]


def _scales(largest: float, type_: ValueType) -> list[float]:
    """Return the scales at which a value up to this fits and has steps enough; the finest if none has."""
    fitting = [scale for scale in _SCALES if largest / scale * 1.3 <= _LARGEST[type_]]
    fine = [scale for scale in fitting if largest / scale >= _FEWEST_STEPS]
    return fine or fitting[:1]


def _step(register: Register) -> float:
    """Return how much of the canonical unit one step of the register is; 0 for a float."""
    one = in_unit(1.0, register.unit) - in_unit(0.0, register.unit)
    return 0.0 if register.type == "f32" else register.scale / one
