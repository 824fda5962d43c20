"""Tables made by chance: the truth in them can be read, and plenty else can be mistaken for it."""

from __future__ import annotations

import struct
from collections import Counter

import pytest

from simulator.drives import Drive, Image, RandomMap, Register, image_of, random_drive_map
from simulator.drives.panel import QUANTITIES
from tests.simulator.lines.masters import request

MAPS = [random_drive_map(seed) for seed in range(200)]
DUTIES = ((1.0, 1.0), (0.85, 0.7), (0.6, 0.4))

# One of each unit in the canonical one, by hand: gallon 231 in3, foot 0.3048 m, 550 ft lbf/s a horsepower
# (NIST SP 811, appendix B); 998.2 kg/m3 of water and 9.80665 m/s2 for heads as pressure (common practice).
ONE_IN_OURS = {
    "rpm": 1.0, "W": 1.0, "kW": 1000.0, "hp": 745.699872, "m3/h": 1.0, "L/s": 3.6, "gpm": 0.2271247, "m": 1.0,
    "ft": 0.3048, "kPa": 1000 / (998.2 * 9.80665), "psi": 6894.757293 / (998.2 * 9.80665),
}  # fmt: skip
FORMATS = {"u16": "H", "i16": "h", "u32": "I", "i32": "i", "f32": "f"}


def read(register: Register, order: str, image: Image) -> float:
    """Return a register's value in our unit, decoded here by hand."""
    words = [image[(register.table, register.address + place)] for place in range(register.words)]
    if order in ("CDAB", "DCBA"):
        words.reverse()
    swap = "<" if order in ("BADC", "DCBA") else ">"
    raw = b"".join(struct.pack(f"{swap}H", word) for word in words)
    (number,) = struct.unpack(f">{FORMATS[register.type]}", raw)
    return float(number * register.scale * ONE_IN_OURS[register.unit])


def step(register: Register) -> float:
    return 0.0 if register.type == "f32" else register.scale * ONE_IN_OURS[register.unit]


@pytest.mark.parametrize("duty", DUTIES)
def test_every_truth_and_every_copy_reads_as_the_pump_runs_within_one_step(duty: tuple[float, float]) -> None:
    for made in MAPS:
        values = made.values_at(*duty)
        image = made.image_of(values)
        for name in QUANTITIES:
            for register in (made.truth[name], *made.twins[name]):
                got = read(register, made.map.order, image)
                assert abs(got - values[name]) <= 0.5 * step(register) + 1e-6 * values[name]


def test_the_truth_is_the_finest_of_its_copies() -> None:
    for made in MAPS:
        for name in QUANTITIES:
            assert all(step(made.truth[name]) <= step(twin) for twin in made.twins[name])


def test_every_kind_of_table_occurs_often_enough() -> None:
    truths = [register for made in MAPS for register in made.truth.values()]
    types = Counter(register.type for register in truths)
    scales = Counter(register.scale for register in truths)
    orders = Counter(made.map.order for made in MAPS)
    assert all(types[type_] >= 80 for type_ in FORMATS)
    assert all(orders[order] >= 30 for order in ("ABCD", "CDAB", "BADC", "DCBA"))
    assert set(scales) == {0.001, 0.01, 0.1, 1.0, 10.0, 100.0}
    assert {register.unit for register in truths} == set(ONE_IN_OURS)


def test_about_two_hundred_registers_of_a_table_lie_within_0_to_255_with_holes_between() -> None:
    for made in MAPS:
        image = made.image_of(made.values_at(1.0, 1.0))
        table = made.truth["speed_rpm"].table
        places = sorted(address for where, address in image if where == table)
        assert 195 <= len(places) <= 205
        assert places[-1] <= 255
        assert places[-1] - places[0] + 1 > len(places)


def test_a_hole_is_refused_with_exception_2_and_what_is_there_is_not() -> None:
    made = MAPS[0]
    drive = Drive(1, made.map)
    drive.image = made.image_of(made.values_at(1.0, 1.0))
    table = made.truth["speed_rpm"].table
    function = 4 if table == "input" else 3
    for address in range(256):
        pdu = bytes([function]) + request(1, address, 1)[2:-2]
        reply = drive.answer_bytes(pdu)
        assert reply is not None
        assert reply.isError() is ((table, address) not in drive.image)


def test_setpoints_and_limits_stand_still_and_counters_count() -> None:
    for made in MAPS[:40]:
        slow, fast = (
            image_of(made.map, made.fixed | made.values_at(share, 0.8, 100.0)) for share in (0.5, 1.0)
        )
        still = [each for each in made.decoys if each.quantity in made.fixed]
        assert len(still) >= 6
        for register in still:
            places = [(register.table, register.address + place) for place in range(register.words)]
            assert [slow[place] for place in places] == [fast[place] for place in places]
        hours = made.values_at(1.0, 1.0, 10.0)["run_time_h"] - made.values_at(1.0, 1.0)["run_time_h"]
        assert hours == pytest.approx(10.0)


def hydraulic_w(values: dict[str, float]) -> float:
    """Return density * g * flow * head (ISO 17769-1, from memory)."""
    return 998.2 * 9.80665 * values["flow_m3h"] / 3600 * values["head_m"]


def test_the_pumps_are_possible_ones() -> None:
    """Common practice: 30 to 90 % of the input power reaches the water near the best point."""
    for made in MAPS:
        values = made.values_at(1.0, 1.0)
        assert 0.3 < hydraulic_w(values) / values["power_w"] < 0.9


def test_the_pumps_follow_the_affinity_laws() -> None:
    """Flow goes with speed, head with its square, power with its cube (any pump handbook)."""
    for made in MAPS[:20]:
        half, full = made.values_at(0.5, 0.8), made.values_at(1.0, 0.8)
        ratios = [full[name] / half[name] for name in ("speed_rpm", "flow_m3h", "head_m", "power_w")]
        assert ratios == pytest.approx([2.0, 2.0, 4.0, 8.0])


def panel_number(made: RandomMap, name: str, values: dict[str, float]) -> tuple[float, str]:
    number, unit = made.panel_of(values)[name].split()
    return float(number), unit


def test_a_panel_shows_three_digits_or_more_in_one_system_of_units() -> None:
    for made in MAPS:
        values = made.values_at(1.0, 1.0)
        shown = {name: panel_number(made, name, values) for name in QUANTITIES}
        for name, (number, unit) in shown.items():
            assert number * ONE_IN_OURS[unit] == pytest.approx(values[name], rel=1 / 390)
        us = {unit for _, unit in shown.values()} & {"gpm", "ft", "hp"}
        assert not (us and {unit for _, unit in shown.values()} & {"m3/h", "m", "kW"})


def test_a_seed_makes_one_table_and_another_seed_another() -> None:
    assert random_drive_map(11) == random_drive_map(11)
    assert len({tuple(made.map.registers) for made in MAPS}) == len(MAPS)
