"""Every usual mistake made in a right map: what physics can tell is told, and a right map is never accused.

The registers come from the simulator's own codec; the pumps follow a formula of these tests.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from pathlib import Path

import pytest

from api.proving import Change, Proof
from simulator.drives import MAPS, DriveMap
from tests.api.proving.drives import (
    PUMPS,
    TrialPump,
    accused,
    line_of,
    looks,
    proofs_of,
    register_map,
    stated,
    with_key,
)

DUTIES = [(0.8, 0.9), (0.9, 0.85), (0.82, 1.0)]
UNITS_OF_OTHERS = {
    "flow_m3h": ("m3/h", "L/s", "gpm", "L/min"),
    "head_m": ("m", "ft", "kPa", "psi", "bar"),
    "power_w": ("W", "kW", "hp"),
}
FACTORS = {
    "rpm": 1.0,
    "m3/h": 1.0, "L/s": 3.6, "L/min": 0.06, "gpm": 0.22712470704,
    "m": 1.0, "ft": 0.3048, "kPa": 0.10215, "psi": 0.70433, "bar": 10.215,
    "W": 1.0, "kW": 1000.0, "hp": 745.69987,
}  # fmt: skip
"""To our units: the US gallon is 231 in3, the foot 0.3048 m (NIST SP 811); pressures over 998.2 kg/m3."""


def fitting(drive: DriveMap, pump: TrialPump) -> DriveMap:
    """Return the map with 16-bit scales in which the pump's values fit with three digits, as makers do."""
    registers = []
    for each in drive.registers:
        if each.type in ("u16", "i16") and each.quantity in ("power_w", "flow_m3h", "head_m"):
            rated = pump.values(1.0, 1.0)[each.quantity] / FACTORS[each.unit]
            scale = next(s for s in (0.001, 0.01, 0.1, 1.0, 10.0, 100.0) if 1.3 * rated / s < 32_000)
            registers.append(replace(each, scale=scale))
        else:
            registers.append(each)
    return replace(drive, registers=tuple(registers))


def seeded_units() -> list[tuple[str, str, str, str]]:
    cases = []
    for letter, drive in MAPS.items():
        for register in drive.registers:
            for unit in UNITS_OF_OTHERS.get(register.quantity, ()):
                ratio = FACTORS[unit] / FACTORS[register.unit]
                # A kilopascal is a tenth of a metre within 2 %, and within 1.3 a worn pump looks the same.
                if unit != register.unit and not 0.7 < ratio < 1.4:
                    cases.append((letter, register.quantity, unit, register.unit))
    return cases


def named(proof: Proof, key: str, to: str) -> bool:
    return any(change.key.endswith(key) and change.to == to for change in proof.changes)


def told_right(proofs: dict[str, Proof], quantity: str, key: str, to: str, line: int) -> bool:
    """Whether the right change is among those named for the quantity, at its line of the map."""
    return quantity in accused(proofs) and any(
        (change.key, change.to) == (f"{quantity} {key}", to) and change.place.endswith(f"line {line}")
        for change in proofs[quantity].changes
    )


@pytest.mark.parametrize("pump", PUMPS.values(), ids=PUMPS)
@pytest.mark.parametrize(("letter", "quantity", "wrong", "right"), seeded_units())
def test_a_wrong_unit_is_told_with_its_line_where_there_is_a_data_sheet(
    tmp_path: Path, pump: TrialPump, letter: str, quantity: str, wrong: str, right: str
) -> None:
    drive = fitting(MAPS[letter], pump)
    text = with_key(register_map(drive), quantity, "unit", f'"{wrong}"')
    proofs = proofs_of(tmp_path, text, looks(drive, pump, DUTIES), stated(pump))
    assert told_right(proofs, quantity, "unit", f'"{right}"', line_of(text, quantity)), proofs


@pytest.mark.parametrize("factor", [10.0, 0.1, 100.0, 0.01])
@pytest.mark.parametrize("quantity", ["speed_rpm", "power_w", "flow_m3h", "head_m"])
@pytest.mark.parametrize(
    ("letter", "pump"), list(zip("ABCDE", [*PUMPS.values(), *PUMPS.values()], strict=False)), ids=str
)
def test_a_wrong_scale_is_told_with_its_line_where_there_is_a_data_sheet(
    tmp_path: Path, letter: str, pump: TrialPump, quantity: str, factor: float
) -> None:
    drive = fitting(MAPS[letter], pump)
    right = next(each.scale for each in drive.registers if each.quantity == quantity)
    text = with_key(register_map(drive), quantity, "scale", f"{right * factor:g}")
    proofs = proofs_of(tmp_path, text, looks(drive, pump, DUTIES), stated(pump))
    assert told_right(proofs, quantity, "scale", f"{right:g}", line_of(text, quantity)), proofs


@pytest.mark.parametrize("pump", PUMPS.values(), ids=PUMPS)
@pytest.mark.parametrize(
    ("letter", "byte_order", "word_order"),
    [
        (letter, *orders)
        for letter, orders in product("BDE", product(("big", "little"), repeat=2))
        if orders != {"B": ("big", "little"), "D": ("little", "little"), "E": ("little", "big")}[letter]
    ],
)
def test_a_wrong_order_of_the_whole_map_is_told_where_the_values_are_32_bits_long(
    tmp_path: Path, pump: TrialPump, letter: str, byte_order: str, word_order: str
) -> None:
    drive = fitting(MAPS[letter], pump)
    right = register_map(drive)
    wrong = right
    for key, value in (("byte_order", byte_order), ("word_order", word_order)):
        wrong = with_key(wrong, key, key, f'"{value}"')
    proofs = proofs_of(tmp_path, wrong, looks(drive, pump, DUTIES), stated(pump, sheet=False))
    seeded = {
        (key, line.split(" = ")[1])
        for key in ("byte_order", "word_order")
        for line in [right.splitlines()[line_of(right, key) - 1]]
        if line not in wrong
    }
    changes = {(change.key, change.to) for proof in proofs.values() for change in proof.changes}
    assert seeded <= changes, proofs


def differ_when_swapped(drive: DriveMap, pump: TrialPump, one: str, other: str) -> bool:
    """Whether one register read as the other is more than two thirds off on either side."""
    first, second = (next(r for r in drive.registers if r.quantity == name) for name in (one, other))
    values = pump.values(*DUTIES[0])
    share = values[one] / (first.scale * FACTORS[first.unit]) * second.scale * FACTORS[second.unit]
    return not 0.6 < share / values[other] < 1.67


def swaps_that_differ() -> list[tuple[str, str, str, str]]:
    """Return the swaps that physics can tell; where each register holds nearly the other's value none can."""
    return [
        (name, letter, one, other)
        for (name, pump), letter in product(PUMPS.items(), MAPS)
        for one, other in (("flow_m3h", "head_m"), ("speed_rpm", "power_w"))
        if differ_when_swapped(fitting(MAPS[letter], pump), pump, one, other)
    ]


@pytest.mark.parametrize(("name", "letter", "one", "other"), swaps_that_differ())
def test_two_swapped_registers_are_told(tmp_path: Path, name: str, letter: str, one: str, other: str) -> None:
    pump = PUMPS[name]
    drive = fitting(MAPS[letter], pump)
    right = register_map(drive)
    places = {each.quantity: each.address + int(drive.one_based) for each in drive.registers}
    wrong = with_key(right, one, "address", str(places[other]))
    wrong = with_key(wrong, other, "address", str(places[one]))
    proofs = proofs_of(tmp_path, wrong, looks(drive, pump, DUTIES), stated(pump))
    assert one in accused(proofs), proofs
    assert named(proofs[one], f"{one} address", str(places[one])), proofs


@pytest.mark.parametrize("pump", PUMPS.values(), ids=PUMPS)
def test_customary_units_typed_as_metric_are_told_by_the_energy_alone(
    tmp_path: Path, pump: TrialPump
) -> None:
    drive = fitting(MAPS["C"], pump)
    text = with_key(register_map(drive), "flow_m3h", "unit", '"m3/h"')
    text = with_key(text, "head_m", "unit", '"m"')
    proofs = proofs_of(tmp_path, text, looks(drive, pump, DUTIES), stated(pump, sheet=False))
    assert {"flow_m3h", "head_m"} <= accused(proofs)


@pytest.mark.parametrize(("sheet", "shaft"), [(True, 1.0), (True, 0.75), (False, 1.0)])
@pytest.mark.parametrize("head_factor", [1.05, 0.88])
@pytest.mark.parametrize("duty", list(product((0.4, 0.7, 1.0), (0.25, 0.6, 1.1))), ids=str)
@pytest.mark.parametrize("name", PUMPS)
def test_a_right_map_is_never_accused(
    tmp_path: Path, name: str, duty: tuple[float, float], head_factor: float, sheet: bool, shaft: float
) -> None:
    pump = PUMPS[name]
    worn = replace(pump, head_factor=head_factor, power_factor=1.06)
    drive = fitting(MAPS["ABCDE"[round(100 * sum(duty)) % 5]], pump)
    samples = looks(drive, worn, [duty] * 3, seed=round(100 * sum(duty)))
    proofs = proofs_of(tmp_path, register_map(drive), samples, stated(pump, sheet=sheet, shaft=shaft))
    assert accused(proofs) == set(), (drive.name, proofs)


def test_a_change_says_file_line_key_and_both_values() -> None:
    change = Change(place="map.toml, line 9", key="flow_m3h unit", now='"m3/h"', to='"gpm"')
    assert change.words == 'map.toml, line 9: flow_m3h unit = "gpm" (now "m3/h")'
