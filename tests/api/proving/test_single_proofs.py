"""Each kind of proof on both sides: what makes it hold, and what does not."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from api.proving import Proof, Sample, Stated, Verdict
from api.proving.physics import Duty, doubts
from api.proving.samples import words_of
from collector.quantities import quantity
from collector.reading import Quality
from collector.registers import Point
from simulator.drives import MAPS
from tests.api.proving.drives import (
    MIDDLE,
    accused,
    image_words,
    looks,
    proofs_of,
    register_map,
    stated,
    with_key,
)

HOURS = [(0.9, 0.9)] * 40
A = MAPS["A"]


def counted(folder: Path, *wrongs: tuple[str, str, str], every_s: float = 600.0) -> dict[str, Proof]:
    """Return the proofs of map A after some hours of readings, with keys typed wrong."""
    text = register_map(A)
    for name, key, value in wrongs:
        text = with_key(text, name, key, value)
    return proofs_of(folder, text, looks(A, MIDDLE, HOURS, every_s=every_s), stated(MIDDLE))


def test_counters_that_keep_pace_hold(tmp_path: Path) -> None:
    proofs = counted(tmp_path)
    held = [proofs[name].verdict for name in ("energy_kwh", "run_time_h")]
    assert held == [Verdict.HOLDS] * 2


@pytest.mark.parametrize(
    ("name", "key", "wrong", "right"),
    [
        ("energy_kwh", "scale", "1", "0.1"),
        ("energy_kwh", "scale", "0.01", "0.1"),
        ("energy_kwh", "unit", '"MWh"', '"kWh"'),
        ("run_time_h", "scale", "10", "1"),
        ("run_time_h", "unit", '"min"', '"h"'),
    ],
)
def test_a_counter_off_its_pace_is_told_with_what_would_bring_it_in(
    tmp_path: Path, name: str, key: str, wrong: str, right: str
) -> None:
    proof = counted(tmp_path, (name, key, wrong))[name]
    assert (proof.verdict, f"{name} {key}", right) in [
        (Verdict.CHANGE, change.key, change.to) for change in proof.changes
    ], proof


def test_a_single_look_leaves_counters_open(tmp_path: Path) -> None:
    proofs = proofs_of(tmp_path, register_map(A), looks(A, MIDDLE, [(0.9, 0.9)]), stated(MIDDLE))
    assert {proofs[name].verdict for name in ("energy_kwh", "run_time_h")} == {Verdict.OPEN}


def test_starts_hold_only_where_one_was_seen(tmp_path: Path) -> None:
    """A register that stands still for any other reason would "hold" as well."""
    proofs = proofs_of(tmp_path, register_map(A), looks(A, MIDDLE, [(0.9, 0.9)] * 5), stated(MIDDLE))
    assert (proofs["starts"].verdict, "no start was seen" in proofs["starts"].sentence) == (
        Verdict.OPEN,
        True,
    )


def test_codes_stay_open_since_no_physics_bounds_them(tmp_path: Path) -> None:
    proofs = proofs_of(tmp_path, register_map(A), looks(A, MIDDLE, HOURS, every_s=600), stated(MIDDLE))
    assert {proofs[name].verdict for name in ("status_word", "fault_code")} == {Verdict.OPEN}


def heard_without(*places: int) -> list[Sample]:
    """Return looks taken by listening at a master that does not read these holding registers."""
    return [
        replace(
            sample,
            is_heard=True,
            words={key: word for key, word in sample.words.items() if key[1] not in places},
            qualities={"speed_rpm": Quality.NO_REPLY, "power_w": Quality.NO_REPLY},
        )
        for sample in looks(A, MIDDLE, [(0.9, 0.9)] * 3)
    ]


def test_what_the_other_master_never_reads_is_not_called_unanswered(tmp_path: Path) -> None:
    proofs = proofs_of(tmp_path, register_map(A), heard_without(10), stated(MIDDLE))
    assert proofs["speed_rpm"].sentence.startswith("holding register 11 was never heard: the other master")


def test_a_pump_of_unknown_speed_and_power_is_not_said_to_stand(tmp_path: Path) -> None:
    proofs = proofs_of(tmp_path, register_map(A), heard_without(10, 12), stated(MIDDLE))
    assert (
        proofs["head_m"].sentence
        == "neither speed nor power is known, so nothing tells whether the pump runs"
    )


def test_a_counter_that_falls_is_none(tmp_path: Path) -> None:
    samples = looks(A, MIDDLE, HOURS, every_s=600)
    times = [sample.time_utc_ms for sample in samples]
    backwards = [replace(s, time_utc_ms=t) for s, t in zip(reversed(samples), times, strict=True)]
    assert "energy_kwh" in accused(proofs_of(tmp_path, register_map(A), backwards, stated(MIDDLE)))


def test_a_pump_that_stands_proves_nothing_and_accuses_nothing(tmp_path: Path) -> None:
    still = MIDDLE.values(0.5, 0.5) | {"speed_rpm": 0.0, "power_w": 8.0, "flow_m3h": 0.0, "head_m": 0.2}
    samples = [Sample(time_utc_ms=place, words=image_words(A, still)) for place in range(3)]
    proofs = proofs_of(tmp_path, register_map(A), samples, stated(MIDDLE))
    assert accused(proofs) == set()
    assert proofs["speed_rpm"].sentence == "the pump stands still; let it run and check again"


def test_power_that_never_follows_the_speed_is_a_limit(tmp_path: Path) -> None:
    moving = looks(A, MIDDLE, [(0.7 + place / 100, 0.8) for place in range(30)])
    held = {place: word for place, word in moving[20].words.items() if place == ("holding", 12)}
    stuck = [replace(sample, words={**sample.words, **held}) for sample in moving]
    known = replace(stated(MIDDLE, sheet=False), rated_power_w=None)
    assert "power_w" not in accused(proofs_of(tmp_path, register_map(A), moving, known))
    assert "power_w" in accused(proofs_of(tmp_path, register_map(A), stuck, known))


def test_a_head_that_is_held_is_open_and_not_accused(tmp_path: Path) -> None:
    moving = looks(A, MIDDLE, [(0.75 + place / 200, 0.9) for place in range(30)])
    held = {("holding", 21): moving[10].words["holding", 21]}
    stuck = [replace(sample, words={**sample.words, **held}) for sample in moving]
    proofs = proofs_of(tmp_path, register_map(A), stuck, stated(MIDDLE, sheet=False))
    assert (proofs["head_m"].verdict, accused(proofs)) == (Verdict.OPEN, set())


def test_a_refused_register_is_named_as_the_manual_counts(tmp_path: Path) -> None:
    (sample,) = looks(A, MIDDLE, [(0.9, 0.9)])
    words = {place: word for place, word in sample.words.items() if place != ("holding", 13)}
    refused = replace(sample, words=words, qualities={"current_a": Quality.REFUSED})
    proof = proofs_of(tmp_path, register_map(A), [refused], stated(MIDDLE))["current_a"]
    assert (proof.verdict, "no holding register 14" in proof.sentence) == (Verdict.CHANGE, True)


@pytest.mark.parametrize(
    ("name", "key", "wrong"),
    [
        ("current_a", "scale", "0.00001"),
        ("speed_command_pct", "scale", "1"),
        ("drive_temperature_c", "scale", "10"),
        ("drive_temperature_c", "unit", '"K"'),
    ],
)
def test_the_other_values_are_held_against_what_bounds_them(
    tmp_path: Path, name: str, key: str, wrong: str
) -> None:
    known = replace(stated(MIDDLE), fluid_temperature_c=41.0)
    samples = looks(A, MIDDLE, [(0.9, 0.9)])
    assert name not in accused(proofs_of(tmp_path, register_map(A), samples, known))
    wrong_text = with_key(register_map(A), name, key, wrong)
    assert name in accused(proofs_of(tmp_path, wrong_text, samples, known))


def test_a_rated_speed_of_another_motor_is_named_in_the_site_file(tmp_path: Path) -> None:
    known = replace(
        stated(MIDDLE, sheet=False), rated_speed_rpm=1450, places={"rated_speed_rpm": "site, line 7"}
    )
    proofs = proofs_of(tmp_path, register_map(A), looks(A, MIDDLE, [(0.95, 0.9)]), known)
    changes = {(change.place, change.key) for proof in proofs.values() for change in proof.changes}
    assert ("site, line 7", "rated_speed_rpm") in changes


def test_the_energy_of_a_known_circulator_is_no_doubt() -> None:
    """1445-1460 W at 225-230 gpm and almost 20 ft: some 59 % wire to water (common practice)."""
    duty = Duty(speed_rpm=1750, power_w=1450, flow_m3h=228 * 0.2271247, head_m=19.9 * 0.3048)
    assert duty.efficiency(998.2) == pytest.approx(0.59, abs=0.01)
    assert doubts(duty, Stated()) == ()


def test_gallons_read_as_cubic_metres_are_more_than_energy_allows() -> None:
    duty = Duty(speed_rpm=1750, power_w=1450, flow_m3h=228.0, head_m=19.9 * 0.3048)
    assert [doubt.name for doubt in doubts(duty, Stated()) if doubt.is_sure] == ["energy"]


@pytest.mark.parametrize("type_name", ["u16", "i16", "u32", "i32", "f32"])
def test_registers_worked_back_from_a_stored_value_decode_to_it(type_name: str) -> None:
    for byte_order, word_order in [(a, b) for a in ("big", "little") for b in ("big", "little")]:
        point = Point(
            quantity=quantity("head_m"), table="input", address=4, type=type_name,  # type: ignore[arg-type]
            byte_order=byte_order, word_order=word_order, factor=0.1 * 0.3048,  # type: ignore[arg-type]
        )  # fmt: skip
        value = 123 * point.factor
        sample = Sample(time_utc_ms=0, words=words_of(point, value))
        assert sample.value_at(point) == value
