"""Samples survive an interrupted session; a map that was written is read as it was meant."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path

import pytest

from collector.matching import (
    Answer,
    Sample,
    Sureness,
    answers,
    append_sample,
    load_samples,
    map_text,
    other_drive,
    parse_panel,
)
from collector.reading import Quality
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
    text = map_text(found, "a drive", 3, 1_764_000_000_000, accept_likely=True)
    (tmp_path / "map.toml").write_text(text, encoding="utf-8")
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


def half_sure() -> tuple[Answer, ...]:
    """The speed sure, the power likely only."""
    speed, power, *_ = answers(samples_of(random_drive_map(0)))
    return speed, replace(
        power, sureness=Sureness.LIKELY, twins=(), advice="change the speed, and read again"
    )


def live(text: str) -> list[str]:
    return list(tomllib.loads(text)["quantity"])


def test_what_is_likely_stands_as_a_comment_with_what_to_do_to_be_sure() -> None:
    text = map_text(half_sure(), "a drive", 3, 0)
    assert live(text) == ["speed_rpm"]
    reason, entry = text.splitlines()[-2:]
    assert reason.startswith("# likely, not sure (")
    assert reason.endswith("change the speed, and read again")
    assert entry.startswith("# power_w = {")


def test_what_is_likely_stands_in_the_map_where_somebody_accepts_it() -> None:
    assert live(map_text(half_sure(), "a drive", 3, 0, accept_likely=True)) == ["speed_rpm", "power_w"]


def test_where_nothing_is_more_than_likely_no_map_is_written_unasked() -> None:
    with pytest.raises(ValueError, match=r"nothing is sure yet, .* take another sample, or --accept-likely"):
        map_text(half_sure()[1:], "a drive", 3, 0)


@pytest.mark.parametrize(
    ("raw", "value", "quality"),
    [
        (0, 0.0, Quality.GOOD),
        (32_767, 32_767.0, Quality.GOOD),
        # An i16 would say -1 here, an u16 65,535 W, many drives "no reading": nobody knows.
        (0xFFFF, None, Quality.IMPOSSIBLE),
        (32_768, None, Quality.IMPOSSIBLE),
    ],
)
def test_a_raw_value_that_a_sign_would_change_is_not_believed(
    tmp_path: Path, raw: int, value: float | None, quality: Quality
) -> None:
    shown = ("1500 W", "1100 W", "700 W")
    taken = [
        Sample(panel=parse_panel(text), images=({("input", 7): int(text[:-2])},) * 2, time_utc_ms=0)
        for text in shown
    ]
    text = map_text(answers(taken), "a drive", 3, 0)
    assert "u16 may as well be i16" in text
    (tmp_path / "map.toml").write_text(text, encoding="utf-8")
    (block,) = plan_blocks(load_register_map(tmp_path / "map.toml"))
    decoded = decode_block(block, raw.to_bytes(2, "big"))
    assert (decoded.values["power_w"], decoded.qualities.get("power_w", Quality.GOOD)) == (value, quality)


def test_a_type_that_the_samples_showed_has_no_such_limit() -> None:
    # 40,000 is above half of the range, so it is u16; -500 is an i16.
    for panels, raws in ((("40000 W", "30000 W", "20000 W"), (40_000, 30_000, 20_000)),
                         (("-50.0 m3/h", "35.0 m3/h", "10.0 m3/h"), (65_036, 350, 100))):  # fmt: skip
        taken = [
            Sample(panel=parse_panel(panel), images=({("input", 7): raw},) * 2, time_utc_ms=0)
            for panel, raw in zip(panels, raws, strict=True)
        ]
        assert "highest_raw" not in map_text(answers(taken), "a drive", 3, 0, accept_likely=True)


def one_sample(time_utc_ms: int, read_from: str = "") -> Sample:
    return Sample(
        panel=parse_panel("2900 rpm"),
        images=({("input", 7): 2900},) * 2,
        time_utc_ms=time_utc_ms,
        read_from=read_from,
    )


def test_a_sample_keeps_where_it_was_read_and_another_drive_is_noticed(tmp_path: Path) -> None:
    file = tmp_path / "s.toml"
    for place, read_from in enumerate(("COM3, 19200 8E1, unit 11", "COM3, 19200 8E1, unit 12", "")):
        append_sample(file, one_sample(place, read_from))
    back = load_samples(file)
    assert [sample.read_from for sample in back] == [
        "COM3, 19200 8E1, unit 11",
        "COM3, 19200 8E1, unit 12",
        "",
    ]
    assert "sample 2 was read from COM3, 19200 8E1, unit 12" in other_drive(back)
    assert other_drive([back[0], back[2]], "COM3, 19200 8E1, unit 11") == ""
    assert "this is COM4" in other_drive([back[0]], "COM4, 19200 8E1, unit 11")


def test_a_torn_last_sample_loses_that_one_alone_wherever_it_was_torn(tmp_path: Path) -> None:
    file = tmp_path / "s.toml"
    append_sample(file, one_sample(0))
    begin = file.stat().st_size
    append_sample(file, one_sample(1))
    whole = file.read_text(encoding="utf-8")
    for end in range(begin + len("\n[[sample]]"), len(whole) - 1):
        told: list[str] = []
        file.write_text(whole[:end], encoding="utf-8")
        assert [sample.time_utc_ms for sample in load_samples(file, told=told.append)] == [0], whole[
            begin:end
        ]
        assert told == [f"{file}, line 12: the last sample is torn and lost; those before it count"]


def test_the_next_sample_takes_the_place_of_a_torn_one(tmp_path: Path) -> None:
    file = tmp_path / "s.toml"
    append_sample(file, one_sample(0))
    with file.open("a", encoding="utf-8") as torn:
        torn.write('\n[[sample]]\ntime = 2026-11-25T10:00:00Z\npanel = "29')
    append_sample(file, one_sample(2))
    assert [sample.time_utc_ms for sample in load_samples(file)] == [0, 2]


def test_what_a_person_mistyped_in_the_last_sample_is_refused_not_lost(tmp_path: Path) -> None:
    file = tmp_path / "s.toml"
    append_sample(file, one_sample(0))
    text = file.read_text(encoding="utf-8")
    file.write_text(text + text[text.index("[[") :].replace("2900 rpm", "29,5 rpm"), encoding="utf-8")
    with pytest.raises(TomlFileError, match=r"write 29\.5 rpm"):
        load_samples(file)


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


@pytest.mark.parametrize("text", ["sample = 3 # [[sample]]\n", "[sample] # [[sample]]\nx = 1\n"])
def test_a_file_that_holds_something_else_is_refused_in_one_line(tmp_path: Path, text: str) -> None:
    (tmp_path / "s.toml").write_text(text, encoding="utf-8")
    with pytest.raises(TomlFileError, match="sample"):
        load_samples(tmp_path / "s.toml")


@pytest.mark.parametrize("name", ['the "old" one', "C:\\maps", "rubbed\x7fout", "half \udc9f"])
def test_a_map_of_whatever_name_loads(tmp_path: Path, name: str) -> None:
    text = map_text(answers(samples_of(random_drive_map(0))), name, 3, 0)
    (tmp_path / "map.toml").write_text(text, encoding="utf-8")
    assert load_register_map(tmp_path / "map.toml").name == name.replace("\udc9f", "?")


def test_a_drive_that_was_plugged_in_elsewhere_is_refused_with_how_to_go_on() -> None:
    one, two = (replace(samples_of(random_drive_map(3))[0], read_from=port) for port in ("a", "b"))
    assert other_drive([one, two]).endswith("write the same read_from beside all its samples")
