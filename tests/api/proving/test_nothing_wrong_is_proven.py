"""No unit or scale that was typed wrong is ever called proven: what another reading explains stays open."""

from __future__ import annotations

from itertools import combinations, product
from pathlib import Path

import pytest

from api.proving import Verdict
from simulator.drives import MAPS, DriveMap
from tests.api.proving.drives import PUMPS, looks, proofs_of, register_map, stated, with_key
from tests.api.proving.test_confusions import UNITS_OF_OTHERS, fitting

AT_WORK = [(0.6, 0.8), (0.95, 0.95)]
THROTTLED = [(0.8, 0.3), (0.9, 0.25)]
DUTIES = {"at work": AT_WORK, "throttled": THROTTLED}
CHANNELS = ("speed_rpm", "power_w", "flow_m3h", "head_m")
EVERY_CASE = pytest.mark.parametrize(
    ("name", "duties", "sheet"),
    [pytest.param(*case, id="-".join(map(str, case))) for case in product(PUMPS, DUTIES, (True, False))],
)


def wrong_units(drive: DriveMap) -> list[tuple[str, str, str]]:
    """Return every unit that could be typed for flow, head or power and is not the drive's."""
    return [
        (register.quantity, "unit", f'"{unit}"')
        for register in drive.registers
        for unit in UNITS_OF_OTHERS.get(register.quantity, ())
        if unit != register.unit
    ]


def wrong_scales(drive: DriveMap) -> list[tuple[str, str, str]]:
    return [
        (register.quantity, "scale", f"{register.scale * factor:g}")
        for register in drive.registers
        for factor in (10.0, 0.1, 100.0, 0.01)
        if register.quantity in CHANNELS
    ]


def held(
    folder: Path, name: str, drive: DriveMap, duties: str, sheet: bool, *wrongs: tuple[str, str, str]
) -> list[str]:
    """Return which of the quantities typed wrong are called proven."""
    text = register_map(drive)
    for wrong in wrongs:
        text = with_key(text, *wrong)
    samples = looks(drive, PUMPS[name], DUTIES[duties])
    proofs = proofs_of(folder, text, samples, stated(PUMPS[name], sheet=sheet))
    return [f"{drive.name} {wrong}" for wrong in wrongs if proofs[wrong[0]].verdict is Verdict.HOLDS]


@EVERY_CASE
def test_no_wrong_unit_or_scale_is_proven(tmp_path: Path, name: str, duties: str, sheet: bool) -> None:
    proven = []
    for drive in (fitting(each, PUMPS[name]) for each in MAPS.values()):
        scales = wrong_scales(drive) if drive.name in "AC" else []
        for wrong in (*wrong_units(drive), *scales):
            proven += held(tmp_path, name, drive, duties, sheet, wrong)
    assert proven == []


@EVERY_CASE
def test_no_two_units_wrong_at_once_are_proven(tmp_path: Path, name: str, duties: str, sheet: bool) -> None:
    """A whole table taken for metric, or for US: two mistakes may leave the energy right."""
    proven = []
    for drive in (fitting(MAPS[letter], PUMPS[name]) for letter in "C"):
        for one, other in combinations(wrong_units(drive), 2):
            if one[0] != other[0]:
                proven += held(tmp_path, name, drive, duties, sheet, one, other)
    assert proven == []
