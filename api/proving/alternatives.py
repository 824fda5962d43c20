"""What else might have been meant: every change of one line that people make by mistake, and its price.

The price says how usual a mistake is [-]: of two changes that explain the same readings the cheaper is
named first (common practice; a unit is mistaken more often than a byte order in the middle of a map).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from itertools import combinations, product
from typing import Final

from api.proving.proof import Change
from api.proving.stated import Stated
from api.proving.typed_map import TypedMap, TypedPoint
from collector.quantities import CHANNELS
from collector.registers import Point
from collector.registers.register_map import Order, TypeName
from collector.units import UNITS, units_of

SCALES: Final = (10.0, 0.1, 100.0, 0.01, 1000.0, 0.001)
TYPES: Final[tuple[TypeName, ...]] = ("u16", "i16", "u32", "i32", "f32")
ORDERS: Final[tuple[tuple[Order, Order], ...]] = (
    ("big", "big"), ("big", "little"), ("little", "big"), ("little", "little"),
)  # fmt: skip
"""Byte order and word order."""
UNIT_PRICE: Final = 0.0
SCALE_PRICE: Final = 0.5
ORDER_PRICE: Final = 1.0
SWAP_PRICE: Final = 1.5
TYPE_PRICE: Final = 2.0
SHIFT_PRICE: Final = 0.5
RATED_PRICE: Final = 1.0
PAIR_PRICE: Final = 1.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Alternative:
    """Points or stated facts as they might have been meant, and the lines that would say so."""

    points: dict[str, Point] = field(default_factory=dict)
    stated: Callable[[Stated], Stated] | None = None
    changes: tuple[Change, ...]
    price: float

    @property
    def names(self) -> frozenset[str]:
        """Return the quantities that would be read another way."""
        return frozenset(self.points)


def alternatives(typed: TypedMap, stated: Stated) -> Iterator[Alternative]:
    """Yield every change worth trying for the four channels, single ones first."""
    channels = [typed.points[name] for name in CHANNELS if name in typed.points]
    for each in channels:
        yield from unit_alternatives(each)
        yield from (scale_alternative(each, factor) for factor in SCALES)
        if not typed.is_import:
            yield from _orders(each)
            yield from _types(each)
    yield from _stated(stated)
    if not typed.is_import:
        yield from _swaps(channels)
        yield from _shift(typed)
        yield from _orders_of_map(typed)
    for one, other in combinations(channels, 2):
        yield from (_both(a, b) for a, b in product(unit_alternatives(one), unit_alternatives(other)))


def _both(one: Alternative, other: Alternative) -> Alternative:
    return Alternative(
        points={**one.points, **other.points},
        changes=one.changes + other.changes,
        price=one.price + other.price + PAIR_PRICE,
    )


def with_unit(typed: TypedPoint, unit: str, scale: float | None = None) -> Point:
    """Return the point as it would read in another unit or by another scale."""
    old, new = UNITS[typed.unit], UNITS[unit]
    scale = typed.scale if scale is None else scale
    own_offset = (typed.point.offset - old.offset) / old.factor
    return replace(
        typed.point, factor=scale * new.factor, offset=own_offset * new.factor + new.offset
    )  # fmt: skip


def unit_alternatives(typed: TypedPoint) -> Iterator[Alternative]:
    """Yield the point in each other unit of its kind."""
    for unit in units_of(typed.point.quantity.unit):
        if unit != typed.unit and unit:
            change = Change(
                place=typed.place, key=typed.key("unit"), now=f'"{typed.unit}"', to=f'"{unit}"'
            )  # fmt: skip
            yield Alternative(
                points={typed.name: with_unit(typed, unit)}, changes=(change,), price=UNIT_PRICE
            )  # fmt: skip


def scale_alternative(typed: TypedPoint, factor: float) -> Alternative:
    """Return the point with its scale times a factor."""
    scale = float(f"{typed.scale * factor:.12g}")
    change = Change(place=typed.place, key=typed.key("scale"), now=f"{typed.scale:g}", to=f"{scale:g}")
    return Alternative(
        points={typed.name: with_unit(typed, typed.unit, scale)},
        changes=(change,),
        price=SCALE_PRICE * (1 if factor in (10.0, 0.1) else 2),
    )


def ordered(point: Point, byte_order: Order, word_order: Order) -> Point:
    """Return the point with other orders."""
    return replace(point, byte_order=byte_order, word_order=word_order)


def order_changes(
    point: Point, new: Point, places: Mapping[str, str], prefix: str = ""
) -> tuple[Change, ...]:
    """Return the lines that turn one point's orders into another's; one register has no word order."""
    pairs = [("byte_order", point.byte_order, new.byte_order)]
    if point.count > 1:
        pairs.append(("word_order", point.word_order, new.word_order))
    return tuple(
        Change(place=places[key], key=f"{prefix}{key}", now=f'"{now}"', to=f'"{to}"')
        for key, now, to in pairs
        if now != to
    )


def _orders(typed: TypedPoint) -> Iterator[Alternative]:
    for byte_order, word_order in ORDERS:
        new = ordered(typed.point, byte_order, word_order)
        changes = order_changes(typed.point, new, typed.order_places, typed.key(""))
        if changes:
            price = ORDER_PRICE if new.count > 1 else 2 * ORDER_PRICE
            yield Alternative(points={typed.name: new}, changes=changes, price=price)


def _types(typed: TypedPoint) -> Iterator[Alternative]:
    for name in TYPES:
        if name != typed.point.type:
            new = replace(typed.point, type=name)
            change = type_change(typed, name)
            price = TYPE_PRICE + (0.5 if new.count != typed.point.count else 0.0)
            yield Alternative(points={typed.name: new}, changes=(change,), price=price)


def type_change(typed: TypedPoint, name: TypeName) -> Change:
    """Return the line that says another type."""
    return Change(
        place=typed.place, key=typed.key("type"), now=f'"{typed.point.type}"', to=f'"{name}"'
    )  # fmt: skip


def _swaps(channels: list[TypedPoint]) -> Iterator[Alternative]:
    """Yield two quantities with each other's registers: the wrong line of the manual's table."""
    for one, other in combinations(channels, 2):
        points = {one.name: _at(one.point, other.point), other.name: _at(other.point, one.point)}
        shift = one.counting_from
        changes = (
            Change(
                place=one.place, key=one.key("address"), now=str(one.point.address + shift),
                to=str(other.point.address + shift),
            ),
            Change(
                place=other.place, key=other.key("address"), now=str(other.point.address + shift),
                to=str(one.point.address + shift),
            ),
        )  # fmt: skip
        yield Alternative(points=points, changes=changes, price=SWAP_PRICE)


def _at(point: Point, other: Point) -> Point:
    return replace(point, table=other.table, address=other.address, type=other.type)


def _shift(typed: TypedMap) -> Iterator[Alternative]:
    """Yield the map with its addresses counted the other way."""
    one_based = typed.counting == "one-based"
    step, to = (1, "zero-based") if one_based else (-1, "one-based")
    points = {
        name: replace(each.point, address=each.point.address + step)
        for name, each in typed.points.items()
        if each.point.address + step >= 0
    }
    change = Change(place=typed.places["addresses"], key="addresses", now=f'"{typed.counting}"', to=f'"{to}"')
    yield Alternative(points=points, changes=(change,), price=SHIFT_PRICE)


def _orders_of_map(typed: TypedMap) -> Iterator[Alternative]:
    for byte_order, word_order in ORDERS:
        points = {name: ordered(each.point, byte_order, word_order) for name, each in typed.points.items()}
        longest = max(typed.points.values(), key=lambda each: each.point.count).point
        changes = order_changes(longest, ordered(longest, byte_order, word_order), typed.places)
        if changes:
            yield Alternative(points=points, changes=changes, price=ORDER_PRICE + 0.5)


def _stated(stated: Stated) -> Iterator[Alternative]:
    for key, factors in _RATED_FACTORS.items():
        now = getattr(stated, key)
        for factor, words in factors if now is not None else ():
            change = Change(place=stated.place(key), key=key, now=f"{now:g}", to=f"{now * factor:g} {words}")
            yield Alternative(stated=_rated(key, now * factor), changes=(change,), price=RATED_PRICE)
    if stated.largest_flow_m3h is not None:
        for (flow, q), (head, h) in product(_SHEET_FLOWS.items(), _SHEET_HEADS.items()):
            if flow or head:
                words = " and ".join(word for word in (flow, head) if word)
                change = Change(
                    place=stated.place("data_sheet"), key="data_sheet", now="as typed",
                    to=f"converted ({words})",
                )  # fmt: skip
                yield Alternative(stated=_sheet(q, h), changes=(change,), price=2 * RATED_PRICE)


_RATED_FACTORS: Final = {
    "rated_speed_rpm": ((2.0, "(from the nameplate)"), (0.5, "(from the nameplate)")),
    "rated_power_w": ((1000.0, "(it is in W)"), (745.7, "(it is in W, not hp)"), (0.001, "(it is in W)")),
}
_SHEET_FLOWS: Final = {
    "": 1.0,
    "its flows from gpm to m3/h": UNITS["gpm"].factor,
    "its flows from L/s to m3/h": UNITS["L/s"].factor,
}
_SHEET_HEADS: Final = {"": 1.0, "its heads from ft to m": UNITS["ft"].factor}


def _rated(key: str, value: float) -> Callable[[Stated], Stated]:
    def stated(now: Stated) -> Stated:
        if key == "rated_speed_rpm":
            return replace(now, rated_speed_rpm=value)
        return replace(now, rated_power_w=value)

    return stated


def _sheet(flow: float, head: float) -> Callable[[Stated], Stated]:
    def stated(now: Stated) -> Stated:
        points = tuple(
            point.model_copy(update={"flow_m3h": point.flow_m3h * flow, "head_m": point.head_m * head})
            for point in now.sheet
        )
        return replace(now, sheet=points)

    return stated
