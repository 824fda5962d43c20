from __future__ import annotations

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from collector.quantities import QUANTITIES
from collector.registers import Block, Point, RegisterMap, plan_blocks, split_block
from collector.registers.register_map import Table


def point(number: int, address: int, *, table: Table = "input", wide: bool = False) -> Point:
    return Point(quantity=QUANTITIES[number], table=table, address=address, type="u32" if wide else "u16")


def register_map(*points: Point, max_block: int = 60, largest_hole: int = 8) -> RegisterMap:
    return RegisterMap(name="m", points=points, faults={}, max_block=max_block, largest_hole=largest_hole)


def spans(blocks: tuple[Block, ...]) -> list[tuple[int, int]]:
    return [(block.address, block.count) for block in blocks]


def test_neighbours_are_read_together_in_any_order_of_the_file() -> None:
    blocks = plan_blocks(register_map(point(0, 11), point(1, 10), point(2, 12, wide=True)))
    assert spans(blocks) == [(10, 4)]


def test_a_hole_is_read_along_up_to_its_limit() -> None:
    assert spans(plan_blocks(register_map(point(0, 0), point(1, 9)))) == [(0, 10)]
    assert spans(plan_blocks(register_map(point(0, 0), point(1, 10)))) == [(0, 1), (10, 1)]


def test_a_block_is_no_longer_than_its_limit() -> None:
    assert spans(plan_blocks(register_map(point(0, 0), point(1, 7), max_block=8))) == [(0, 8)]
    assert spans(plan_blocks(register_map(point(0, 0), point(1, 8), max_block=8))) == [(0, 1), (8, 1)]


def test_two_tables_are_never_read_together() -> None:
    assert len(plan_blocks(register_map(point(0, 0), point(1, 1, table="holding")))) == 2


def test_two_quantities_may_share_a_register() -> None:
    assert spans(plan_blocks(register_map(point(0, 5), point(1, 5, wide=True)))) == [(5, 2)]


MAPS = st.builds(
    lambda places, longest, hole: register_map(
        *(point(number, address, wide=wide) for number, (address, wide) in enumerate(places)),
        max_block=longest,
        largest_hole=hole,
    ),
    st.lists(st.tuples(st.integers(0, 200), st.booleans()), min_size=1, max_size=13),
    st.integers(4, 125),
    st.integers(0, 20),
)


@given(plan=MAPS)
def test_every_point_is_read_once_and_whole_and_no_block_breaks_a_limit(plan: RegisterMap) -> None:
    blocks = plan_blocks(plan)
    read = [member.quantity.name for block in blocks for member in block.points]
    assert sorted(read) == sorted(member.quantity.name for member in plan.points)
    for block in blocks:
        assert block.count <= plan.max_block
        assert all(block.address <= p.address and p.end <= block.address + block.count for p in block.points)


def fewest_requests(plan: RegisterMap) -> int:
    """Try every division of the ordered points: the peer for the greedy plan."""
    points = sorted(plan.points, key=lambda p: (p.address, p.end))
    best = [0, *[len(points) + 1] * len(points)]
    for end in range(1, len(points) + 1):
        for start in range(end):
            group = points[start:end]
            reach = [max(p.end for p in group[: n + 1]) for n in range(len(group))]
            holes = [b.address - reach[n] for n, (_, b) in enumerate(pairwise(group))]
            if reach[-1] - group[0].address <= plan.max_block and all(h <= plan.largest_hole for h in holes):
                best[end] = min(best[end], best[start] + 1)
    return best[-1]


@given(plan=MAPS)
def test_no_division_needs_fewer_requests(plan: RegisterMap) -> None:
    assert len(plan_blocks(plan)) == fewest_requests(plan)


def test_a_refused_block_first_loses_its_holes() -> None:
    (block,) = plan_blocks(register_map(point(0, 0), point(1, 1), point(2, 4)))
    assert spans(split_block(block)) == [(0, 2), (4, 1)]


def test_a_refused_block_without_holes_is_halved() -> None:
    (block,) = plan_blocks(register_map(*(point(number, number) for number in range(5))))
    assert spans(split_block(block)) == [(0, 2), (2, 3)]


def test_a_single_refused_point_cannot_be_divided() -> None:
    (block,) = plan_blocks(register_map(point(0, 0, wide=True)))
    assert split_block(block) == ()


@given(plan=MAPS)
def test_splitting_to_the_end_leaves_every_point_alone(plan: RegisterMap) -> None:
    waiting, single = list(plan_blocks(plan)), []
    while waiting:
        parts = split_block(block := waiting.pop())
        waiting.extend(parts)
        single.extend([] if parts else [block])
    assert sorted(block.points[0].quantity.name for block in single) == sorted(
        p.quantity.name for p in plan.points
    )
