"""Samples survive an interrupted session; a map that was written is read as it was meant."""

from __future__ import annotations

from pathlib import Path

import pytest

from collector.matching import Sample, answers, append_sample, load_samples, map_text, parse_panel, write_map
from collector.registers import decode_block, load_register_map, plan_blocks
from collector.toml_file import TomlFileError
from simulator.drives import random_drive_map
from tests.collector.matching.panels import is_right, samples_of


def numbers(sample: Sample) -> list[tuple[str, float, float]]:
    return [(each.quantity.name, each.number, each.step) for each in sample.panel]


def test_what_is_recorded_comes_back(tmp_path: Path) -> None:
    taken = samples_of(random_drive_map(3))
    for sample in taken:
        append_sample(tmp_path / "s.toml", sample)
    back = load_samples(tmp_path / "s.toml")
    assert [sample.images for sample in back] == [sample.images for sample in taken]
    assert [numbers(sample) for sample in back] == [numbers(sample) for sample in taken]
    assert [sample.time_utc_ms for sample in back] == [sample.time_utc_ms for sample in taken]


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ('panel = "27,5 ft"\nimages = [{ input = { 0 = "0001" } }]', "line 3: '27,5 ft': write 27.5 ft"),
        ('panel = "27.5 ft"\nimages = [{ input = { 0 = "001" } }]', "four hexadecimal digits, not '001'"),
        ('panel = "27.5 ft"\nimages = [{ inputs = { 0 = "0001" } }]', "did you mean 'input'?"),
        (
            'panel = "27.5 ft"\nimages = [{ input = { 65535 = "0001 0002" } }]',
            "begins at an address of 0 to 65535",
        ),
        ('panel = "27.5 ft"\nimages = []', "needs the registers that were read"),
    ],
)
def test_a_damaged_file_is_one_line_with_its_place(tmp_path: Path, line: str, words: str) -> None:
    file = tmp_path / "s.toml"
    file.write_text(f"[[sample]]\ntime = 2026-11-25T10:00:00Z\n{line}\n", encoding="utf-8")
    with pytest.raises(TomlFileError) as caught:
        load_samples(file)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("seed", [0, 2, 7, 9])
def test_the_map_that_is_written_reads_what_the_panel_shows(tmp_path: Path, seed: int) -> None:
    drive = random_drive_map(seed)
    found = answers(samples_of(drive))
    assert all(is_right(drive, answer.quantity, answer.chosen) for answer in found)
    write_map(tmp_path / "map.toml", map_text(found, "a drive", 3, 1_764_000_000_000), replace=False)
    values = drive.values_at(0.8, 0.9)
    image = drive.image_of(values)
    for block in plan_blocks(load_register_map(tmp_path / "map.toml")):
        words = [image.get((block.table, block.address + place), 0) for place in range(block.count)]
        decoded = decode_block(block, b"".join(word.to_bytes(2, "big") for word in words)).values
        for name, value in decoded.items():
            # A drive's register has a hundred steps at least.
            assert value == pytest.approx(values[name], abs=0.01 * drive.rated[name])


def test_a_map_says_how_sure_each_line_is_and_when_it_was_found() -> None:
    text = map_text(answers(samples_of(random_drive_map(0))), "a drive", 3, 1_764_000_000_000)
    assert "3 samples, 2025-11-24" in text
    assert "# sure (over 99.9 %)" in text


def test_what_is_not_settled_is_not_written_as_if_it_were() -> None:
    with pytest.raises(ValueError, match="nothing is settled yet"):
        map_text(answers(samples_of(random_drive_map(0), [(1.0, 1.0)])), "a drive", 1, 0)


def test_a_map_that_is_there_is_not_replaced_unasked(tmp_path: Path) -> None:
    file = tmp_path / "map.toml"
    file.write_text("mine", encoding="utf-8")
    with pytest.raises(FileExistsError):
        write_map(file, "theirs", replace=False)
    assert file.read_text(encoding="utf-8") == "mine"
    write_map(file, "theirs", replace=True)
    assert [path.name for path in tmp_path.iterdir()] == ["map.toml"]


def test_counters_are_found_when_they_are_typed_and_have_grown() -> None:
    # An energy counter u32 of 0.1 kWh at input 4, its low word first; a start counter beside it.
    def image(tenths_kwh: int, starts: int) -> dict[tuple[str, int], int]:
        return {("input", 4): tenths_kwh & 0xFFFF, ("input", 5): tenths_kwh >> 16, ("input", 6): starts}

    samples = [
        Sample(panel=parse_panel(text), images=(image(*held),) * 2, time_utc_ms=0)  # type: ignore[arg-type]
        for text, held in (
            ("energy 12345.6 kWh, starts 31", (123456, 31)),
            ("energy 13400.2 kWh, starts 40", (134002, 40)),
            ("energy 15100.9 kWh, starts 55", (151009, 55)),
        )
    ]
    energy, starts = (answer.chosen for answer in answers(samples))
    assert energy is not None
    assert (energy.place.address, energy.place.type, energy.place.word_order) == (4, "u32", "little")
    assert (energy.scale.scale, energy.scale.unit) == (0.1, "kWh")
    assert starts is not None
    assert starts.place.address == 6
