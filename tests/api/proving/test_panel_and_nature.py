"""What the panel shows decides, and nothing holds beyond what nature allows."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from api.proving import Proof, Stated, Verdict, prove, read_typed_map
from api.proving.panel_proofs import panel_proofs
from api.proving.physics import Duty, doubts
from api.proving.telling import Told
from collector.matching import parse_panel
from simulator.drives import MAPS
from tests.api.proving.drives import (
    MIDDLE,
    TrialPump,
    accused,
    looks,
    proofs_of,
    register_map,
    stated,
    with_key,
)

A = MAPS["A"]
KNOWN = stated(MIDDLE, sheet=False)
DUTY = MIDDLE.values(0.9, 0.9)
SHOWN = ", ".join(
    f"{DUTY[name]:.{digits}f} {unit}"
    for name, digits, unit in (
        ("speed_rpm", 0, "rpm"),
        ("power_w", 0, "W"),
        ("flow_m3h", 1, "m3/h"),
        ("head_m", 1, "m"),
    )
)


def by_panel(
    folder: Path, panel: str, *wrongs: tuple[str, str, str], known: Stated = KNOWN
) -> dict[str, Proof]:
    text = register_map(A)
    for wrong in wrongs:
        text = with_key(text, *wrong)
    (folder / "map.toml").write_text(text, encoding="utf-8")
    typed, samples = read_typed_map(folder / "map.toml"), looks(A, MIDDLE, [(0.9, 0.9)])
    proofs = prove(typed, samples, known, "SI")
    decided = panel_proofs(proofs, typed, samples[0], parse_panel(panel), Told(system="SI"))
    return {name: proof for proof in decided for name in proof.value.split(", ")}


def test_a_panel_that_shows_the_same_proves_every_channel(tmp_path: Path) -> None:
    proofs = by_panel(tmp_path, SHOWN)
    assert {proofs[name].verdict for name in ("speed_rpm", "power_w", "flow_m3h", "head_m")} == {
        Verdict.HOLDS
    }


@pytest.mark.parametrize(
    ("name", "unit", "right"),
    [("flow_m3h", "gpm", "m3/h"), ("head_m", "psi", "m"), ("flow_m3h", "L/s", "m3/h")],
)
def test_a_panel_names_the_unit_that_was_meant(tmp_path: Path, name: str, unit: str, right: str) -> None:
    proof = by_panel(tmp_path, SHOWN, (name, "unit", f'"{unit}"'))[name]
    assert (proof.verdict, [change.to for change in proof.changes]) == (Verdict.CHANGE, [f'"{right}"'])


def test_a_panel_that_no_unit_explains_leaves_the_value_open(tmp_path: Path) -> None:
    proof = by_panel(tmp_path, "13.3 m3/h")["flow_m3h"]
    assert (proof.verdict, "another register" in proof.sentence) == (Verdict.OPEN, True)


@pytest.mark.parametrize(("shown", "verdict"), [(1.08, Verdict.HOLDS), (1.13, Verdict.OPEN)])
def test_a_panel_may_be_a_tenth_off_and_no_more(tmp_path: Path, shown: float, verdict: Verdict) -> None:
    assert by_panel(tmp_path, f"{DUTY['flow_m3h'] * shown:.2f} m3/h")["flow_m3h"].verdict is verdict


def test_a_panel_too_coarse_to_tell_two_units_apart_proves_neither(tmp_path: Path) -> None:
    assert by_panel(tmp_path, "1 bar", ("head_m", "unit", '"m"'))["head_m"].verdict is Verdict.OPEN


def test_what_the_panel_shows_too_is_no_fault_of_the_map(tmp_path: Path) -> None:
    """The data sheet of another pump: all is read right, so only the site file can be wrong."""
    other = TrialPump(rated_speed_rpm=2900, flow_m3h=32.0, head_m=30.0, efficiency=0.62)
    proofs = by_panel(tmp_path, SHOWN, known=replace(KNOWN, sheet=other.sheet()))
    assert "head_m" in accused(proofs)
    assert "the panel shows the same" in proofs["head_m"].sentence
    assert not any(change.key.startswith("head_m") for change in proofs["head_m"].changes)


@pytest.mark.parametrize(
    ("efficiency", "verdict"),
    [(0.95, Verdict.OPEN), (0.91, Verdict.OPEN), (0.97, Verdict.CHANGE), (1.01, Verdict.CHANGE)],
)
def test_more_than_nine_tenths_of_the_power_in_the_water_never_holds(
    tmp_path: Path, efficiency: float, verdict: Verdict
) -> None:
    """0.92 of a pump x 0.965 of a motor x 0.98 of a drive is 0.87 (from memory); 0.9 / 0.97 is sure."""
    power_w = DUTY["flow_m3h"] / 3600 * DUTY["head_m"] * 998.2 * 9.80665 / efficiency
    pump = replace(MIDDLE, power_factor=power_w / DUTY["power_w"])
    known = Stated(rated_speed_rpm=2900)
    proofs = proofs_of(tmp_path, register_map(A), looks(A, pump, [(0.9, 0.9)] * 9), known)
    assert {proofs[name].verdict for name in ("flow_m3h", "head_m", "power_w")} <= {verdict, Verdict.OPEN}
    assert (verdict is Verdict.CHANGE) == bool(accused(proofs))


def test_the_limit_of_nature_has_two_sides() -> None:
    def of(efficiency: float) -> list[tuple[bool, bool]]:
        power_w = 30 / 3600 * 10 * 998.2 * 9.80665 / efficiency
        duty = Duty(speed_rpm=2500, power_w=power_w, flow_m3h=30.0, head_m=10.0)
        return [(each.is_in_between, each.is_sure) for each in doubts(duty, Stated())]

    assert (of(0.89), of(0.91), of(0.98)) == ([], [(True, False)], [(False, True)])


def test_a_fluid_far_from_what_is_stated_is_asked_about_and_not_called_a_mistake(tmp_path: Path) -> None:
    known = replace(KNOWN, fluid_temperature_c=8.0, places={"fluid_temperature_c": "site.toml, line 12"})
    proof = proofs_of(tmp_path, register_map(A), looks(A, MIDDLE, [(0.9, 0.9)]), known)["fluid_temperature_c"]
    assert (proof.verdict, proof.changes) == (Verdict.OPEN, ())
    assert "site.toml, line 12" in proof.sentence
    assert "thermometer at the pipe" in proof.sentence


def test_a_fluid_near_what_is_stated_holds_and_one_of_which_nothing_is_stated_may_be_fahrenheit(
    tmp_path: Path,
) -> None:
    samples = looks(A, MIDDLE, [(0.9, 0.9)])
    stated_proof = proofs_of(tmp_path, register_map(A), samples, replace(KNOWN, fluid_temperature_c=40.0))
    assert stated_proof["fluid_temperature_c"].verdict is Verdict.HOLDS
    open_proof = proofs_of(tmp_path, register_map(A), samples, KNOWN)["fluid_temperature_c"]
    assert (open_proof.verdict, '"F"' in open_proof.sentence) == (Verdict.OPEN, True)


def test_kilowatts_and_horsepower_are_told_apart_by_the_drives_own_counter(tmp_path: Path) -> None:
    drive = MAPS["C"]
    pump = replace(MIDDLE)
    known = stated(MIDDLE, sheet=False)
    once = proofs_of(tmp_path, register_map(drive), looks(drive, pump, [(0.9, 0.9)]), known)
    hours = looks(drive, pump, [(0.9, 0.9)] * 40, every_s=600.0)
    assert '"hp"' in once["power_w"].sentence
    assert (
        once["power_w"].verdict,
        proofs_of(tmp_path, register_map(drive), hours, known)["power_w"].verdict,
    ) == (
        Verdict.OPEN,
        Verdict.HOLDS,
    )
