"""32-bit values in the wrong order or type: what comes out is no number that a drive would send."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Final

from api.proving.alternatives import (
    ORDER_PRICE,
    ORDERS,
    SCALES,
    TYPE_PRICE,
    Alternative,
    order_changes,
    ordered,
    scale_alternative,
    type_change,
    unit_alternatives,
)
from api.proving.readings_of_map import Points
from api.proving.samples import Sample
from api.proving.stated import Stated
from api.proving.typed_map import TypedMap, TypedPoint
from collector.registers import Point
from collector.registers.register_map import TypeName

LONG: Final[tuple[TypeName, ...]] = ("u32", "i32", "f32")
_LEAST: Final = {
    "speed_rpm": 0.5,
    "power_w": 0.05,
    "flow_m3h": 1e-3,
    "head_m": 1e-3,
    "fluid_temperature_c": 1e-3,
    "drive_temperature_c": 1e-3,
    "current_a": 1e-3,
    "energy_kwh": 1e-4,
    "run_time_h": 1e-4,
    "starts": 1.0,
    "speed_command_pct": 1e-3,
}
"""Below this, and above nothing, no drive reports: the smallest steps in use are larger (common practice)."""
_MOST: Final = {
    "run_time_h": 3e5,
    "starts": 1e6,
    "energy_kwh": 1e8,
    "current_a": 3000.0,
    "fault_code": 65_535,
}
"""34 years of running; a start every 18 minutes for as long."""
_HOURS: Final = 3e5


def is_natural(value: float, point: Point, stated: Stated) -> bool:
    """Return whether a drive would send this; nothing at all always is."""
    name, known = point.quantity.name, point.quantity
    if value == 0:
        return True
    highest = _MOST.get(name, known.highest)
    if name == "energy_kwh" and stated.rated_power_w is not None:
        highest = 1.5 * stated.rated_power_w / 1000 * _HOURS
    return known.lowest <= value <= highest and abs(value - point.offset) >= _LEAST.get(name, 0.0)


def unnatural(points: Points, samples: Sequence[Sample], stated: Stated) -> set[str]:
    """Return the 32-bit quantities of which a drive would send no value like one that was read."""
    return {
        name
        for name, point in points.items()
        if point.type in LONG and not _all_natural(point, samples, stated)
    }


def _all_natural(point: Point, samples: Sequence[Sample], stated: Stated) -> bool:
    values = [sample.value_at(point) for sample in samples if sample.holds(point)]
    return all(value is None or is_natural(value, point, stated) for value in values) and not (
        values and all(value is None for value in values) and not point.no_values
    )


def better_orders(typed: TypedMap, samples: Sequence[Sample], stated: Stated) -> list[Alternative]:
    """Return the orders of the whole map under which every 32-bit value is natural, if now most are not."""
    long = {name: each for name, each in typed.points.items() if each.point.type in LONG}
    wrong = unnatural(typed.as_read, samples, stated)
    telling = [name for name, each in long.items() if _tells(each.point, samples)]
    if len(telling) < 2 or 2 * len(wrong) < len(telling):
        return []
    found = []
    for byte_order, word_order in ORDERS:
        points = {name: ordered(each.point, byte_order, word_order) for name, each in typed.points.items()}
        first = next(iter(long.values())).point
        changes = order_changes(first, ordered(first, byte_order, word_order), typed.places)
        if changes and not unnatural({name: points[name] for name in long}, samples, stated):
            found.append(Alternative(points=points, changes=changes, price=ORDER_PRICE))
    return found


def _tells(point: Point, samples: Sequence[Sample]) -> bool:
    """Return whether the registers hold anything: nothing looks the same in every order."""
    return any(sample.value_at(point) not in (None, 0.0) for sample in samples)


def better_points(typed: TypedPoint, samples: Sequence[Sample], stated: Stated) -> list[Alternative]:
    """Return the orders and types under which this 32-bit value is natural, the cheapest alone.

    None where another unit or scale would do: then the order is not what is wrong first of all.
    """
    plain = [*unit_alternatives(typed), *(scale_alternative(typed, factor) for factor in SCALES)]
    if any(_all_natural(each.points[typed.name], samples, stated) for each in plain):
        return []
    fitting = [each for each in _ways(typed) if _all_natural(each.points[typed.name], samples, stated)]
    cheapest = min((each.price for each in fitting), default=0.0)
    return [each for each in fitting if each.price == cheapest]


def _ways(typed: TypedPoint) -> Iterator[Alternative]:
    for type_name in LONG:
        for byte_order, word_order in ORDERS:
            new = replace(ordered(typed.point, byte_order, word_order), type=type_name)
            changes = order_changes(typed.point, new, typed.order_places, typed.key(""))
            price = ORDER_PRICE * len(changes)
            if type_name != typed.point.type:
                changes = (type_change(typed, type_name), *changes)
                price += TYPE_PRICE
            if changes:
                yield Alternative(points={typed.name: new}, changes=changes, price=price)
