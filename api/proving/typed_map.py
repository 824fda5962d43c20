"""A register map with what was typed in it and where, so that a line to change can be named."""

from __future__ import annotations

import tomllib
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final, Literal

from collector.quantities import QUANTITIES
from collector.registers import Point, load_register_map
from collector.registers.map_file import RegisterMapError
from collector.toml_file import where

MAP_KEYS: Final = ("addresses", "byte_order", "word_order")


@dataclass(frozen=True, slots=True, kw_only=True)
class TypedPoint:
    """A point with the scale and unit as typed; ``place`` is the file and the line of its quantity."""

    point: Point
    scale: float
    unit: str
    place: str
    counting_from: int = 0
    """What the first register is called: 1 in a one-based map."""

    def key(self, key: str) -> str:
        """Return a key of this quantity as a person looks for it: the line may hold several keys."""
        return f"{self.name} {key}"

    @property
    def order_places(self) -> Mapping[str, str]:
        """Return where orders of this quantity alone would be typed: on its line."""
        return {"byte_order": self.place, "word_order": self.place}

    @property
    def name(self) -> str:
        """Return the name of its quantity."""
        return self.point.quantity.name


@dataclass(frozen=True, slots=True, kw_only=True)
class TypedMap:
    """The points of a map by quantity; ``counting`` is how its addresses count.

    ``places`` says where the keys of ``[map]`` stand, or would. ``is_import`` marks the units of an import,
    where nothing else can be mistaken.
    """

    points: dict[str, TypedPoint]
    counting: Literal["one-based", "zero-based"]
    places: Mapping[str, str]
    is_import: bool = False

    def only(self, names: Collection[str]) -> TypedMap:
        """Return the map of these quantities alone."""
        return replace(self, points={name: each for name, each in self.points.items() if name in names})

    @property
    def as_read(self) -> dict[str, Point]:
        """Return the points as typed."""
        return {name: each.point for name, each in self.points.items()}


def read_typed_map(path: Path) -> TypedMap:
    """Read a register map with its lines.

    Raises
    ------
    RegisterMapError
        One line, when the map cannot be used.
    """
    register_map = load_register_map(path)
    try:
        text = path.read_text(encoding="utf-8-sig")
        document: dict[str, Any] = tomllib.loads(text)
    except (OSError, ValueError) as error:
        # Only if it was changed between the two readings of it.
        raise RegisterMapError(f"{path}: changed while it was read; try again") from error
    return TypedMap(
        points={point.quantity.name: _typed(point, document, path, text) for point in register_map.points},
        counting=document["map"]["addresses"],
        places={key: where(path, text, ("map", key)) for key in MAP_KEYS},
    )


def _typed(point: Point, document: dict[str, Any], path: Path, text: str) -> TypedPoint:
    name = point.quantity.name
    entry = document["quantity"][name]
    counting_from = int(document["map"]["addresses"] == "one-based")
    return TypedPoint(
        point=point,
        scale=float(entry.get("scale", 1.0)),
        unit=str(entry.get("unit", point.quantity.unit)),
        place=where(path, text, ("quantity", name)),
        counting_from=counting_from,
    )


def map_of_imports(pump: str) -> TypedMap:
    """Return what imports of a pump come down to: each quantity in our own unit, as the import made it."""
    place = f"the import of {pump}"
    return TypedMap(
        points={
            each.name: TypedPoint(
                point=Point(quantity=each, table="input", address=2 * number, type="f32"),
                scale=1.0,
                unit=each.unit,
                place=place,
            )
            for number, each in enumerate(QUANTITIES)
        },
        counting="zero-based",
        places=dict.fromkeys(MAP_KEYS, place),
        is_import=True,
    )
