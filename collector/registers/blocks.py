"""Reading neighbours together: a request costs more line time than a few registers do."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from collector.registers.register_map import Point, RegisterMap, Table


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """Adjacent registers that one request reads, and the points that lie in them."""

    table: Table
    address: int
    count: int
    points: tuple[Point, ...]


def plan_blocks(register_map: RegisterMap) -> tuple[Block, ...]:
    """Join the points into as few requests as the map's longest block and largest hole allow.

    Taking points in order of address and closing a block only when the next does not fit is the least
    possible number: every other division starts its k-th block no further along.
    """
    return _join(register_map.points, register_map.max_block, register_map.largest_hole)


def split_block(block: Block) -> tuple[Block, ...]:
    """Divide a block that was refused as a whole, so that one bad address does not take the others along.

    First the holes go (the refused address may be one nobody asked for), then the points are halved. A
    single point cannot be divided: the answer is empty, and the point itself is what the drive refuses.
    """
    without_holes = _join(block.points, block.count, largest_hole=0)
    if len(without_holes) > 1:
        return without_holes
    if len(block.points) == 1:
        return ()
    points = sorted(block.points, key=lambda point: (point.address, point.end))
    middle = len(points) // 2
    return tuple(_around(half) for half in (points[:middle], points[middle:]))


def _join(points: Iterable[Point], max_block: int, largest_hole: int) -> tuple[Block, ...]:
    groups: list[list[Point]] = []
    for point in sorted(points, key=lambda point: (point.table, point.address, point.end)):
        if groups and _fits(groups[-1], point, max_block, largest_hole):
            groups[-1].append(point)
        else:
            groups.append([point])
    return tuple(_around(group) for group in groups)


def _fits(group: list[Point], point: Point, max_block: int, largest_hole: int) -> bool:
    end = max(member.end for member in group)
    return (
        group[0].table == point.table
        and point.address - end <= largest_hole
        and max(end, point.end) - group[0].address <= max_block
    )


def _around(points: list[Point]) -> Block:
    start = min(point.address for point in points)
    end = max(point.end for point in points)
    return Block(table=points[0].table, address=start, count=end - start, points=tuple(points))
