"""A manual's table, invented for these tests, becomes a register map whole or not at all."""

from __future__ import annotations

from pathlib import Path

import pytest

from collector.registers import load_register_map
from collector.registers.register_table import RegisterTableError, map_text_of, read_register_table
from collector.registers.table_cells import (
    CellError,
    Place,
    read_address,
    read_scale,
    read_table_name,
    read_type,
    read_unit,
)
from collector.registers.table_entry import TableOptions
from collector.registers.table_proposals import proposal

COLUMNS = {"address": "Reg no", "name": "Parameter", "type": "Format", "scale": "Mult", "unit": "Unit"}
HEADER = "Reg no;Parameter;Format;Mult;Unit\n"
ROWS = """;Measured values;;;
40021;Actual speed;UINT16;1;rpm
40022;Motor power;INT;1/10;kW
40023;Actual flow;UINT;0,1;gpm
40025;Head;REAL;;ft
40027;Head setpoint;REAL;;ft
"""
CHOSEN = {"speed_rpm": "Actual speed", "power_w": "40022", "flow_m3h": "actual  flow", "head_m": "Head"}


def made(folder: Path, rows: str, **options: object) -> str:
    path = folder / "table.csv"
    path.write_text(HEADER + rows, encoding="utf-8")
    given = {"columns": COLUMNS, "quantities": CHOSEN, "counting": "one-based", **options}
    return map_text_of(read_register_table(path, COLUMNS), TableOptions(**given), "pump")  # type: ignore[arg-type]


def troubles(folder: Path, rows: str, **options: object) -> tuple[str, ...]:
    with pytest.raises(RegisterTableError) as caught:
        made(folder, rows, **options)
    return caught.value.sentences


def test_a_table_becomes_a_map_that_loads_with_zero_based_addresses_and_one_factor(tmp_path: Path) -> None:
    path = tmp_path / "map.toml"
    path.write_text(made(tmp_path, ROWS), encoding="utf-8")
    points = {point.quantity.name: point for point in load_register_map(path).points}
    places = {name: (point.table, point.address, point.type) for name, point in points.items()}
    assert places == {
        "speed_rpm": ("holding", 20, "u16"),
        "power_w": ("holding", 21, "i16"),
        "flow_m3h": ("holding", 22, "u16"),
        "head_m": ("holding", 24, "f32"),
    }
    # US gallon 231 in3, foot 0.3048 m (NIST SP 811).
    assert points["flow_m3h"].factor == pytest.approx(0.1 * 231 * 0.0254**3 * 60)
    assert (points["power_w"].factor, points["head_m"].factor) == (100.0, 0.3048)


@pytest.mark.parametrize(
    ("text", "counting", "place"),
    [
        ("21", "one-based", Place(address=21)),
        ("0x15", "zero-based", Place(address=21)),
        ("15h", "zero-based", Place(address=21)),
        ("40021", "one-based", Place(address=21, table="holding")),
        ("30001", "one-based", Place(address=1, table="input")),
        ("400021", "one-based", Place(address=21, table="holding")),
        ("365536", "one-based", Place(address=65536, table="input")),
        ("4x0021", "one-based", Place(address=21, table="holding")),
        ("40000", "zero-based", Place(address=0, table="holding")),
        ("40021-40022", "one-based", Place(address=21, table="holding")),
        ("21..22", "one-based", Place(address=21)),
    ],
)
def test_addresses_are_read_as_manuals_write_them(text: str, counting: str, place: Place) -> None:
    assert read_address(text, counting) == place  # type: ignore[arg-type]


def test_five_digits_are_a_plain_number_when_the_tech_says_so() -> None:
    assert read_address("40021", "zero-based", leading_digit=False) == Place(address=40021)


@pytest.mark.parametrize(
    ("text", "counting", "words"),
    [
        ("001A", "one-based", "0x in front of a hexadecimal number, as in 0x001A"),
        ("4x001A", "one-based", "a number in decimal behind 4x or 3x, or the hexadecimal one alone"),
        ("40x1A", "one-based", "a number in decimal behind 4x or 3x, or the hexadecimal one alone"),
        ("0x0000", "one-based", "a register number of 1 to 65536 in a one-based table"),
        ("0", "one-based", "a register number of 1 to 65536 in a one-based table"),
        ("65536", "zero-based", "a register number of 0 to 65535 in a zero-based table"),
        ("4x0", "one-based", "a register number of 1 to 65536 in a one-based table"),
        ("4x99999", "one-based", "a register number of 1 to 65536 in a one-based table"),
        ("499999", "zero-based", "a register number of 0 to 65535 in a zero-based table"),
        ("40,021", "one-based", "one number without a comma, as 40021"),
        (
            "0x9C55",
            "one-based",
            "what 40021 in hexadecimal is: with --plain-numbers the register of that number",
        ),
    ],
)
def test_an_address_that_may_be_misread_is_refused_with_how_to_write_it(
    text: str, counting: str, words: str
) -> None:
    with pytest.raises(CellError) as caught:
        read_address(text, counting)  # type: ignore[arg-type]
    assert words in str(caught.value)


def test_a_plain_number_in_a_column_of_unmarked_hexadecimal_ones_is_not_taken_for_decimal(
    tmp_path: Path,
) -> None:
    rows = "000F;Setpoint;UINT16;1;rpm\n0010;Actual speed;UINT16;1;rpm\n"
    wanted = {"speed_rpm": "Actual speed"}
    assert troubles(tmp_path, rows, table="holding", quantities=wanted) == (
        f"{tmp_path / 'table.csv'}, line 3, column 'Reg no' (speed_rpm): expected 0x in front of hexadecimal "
        "numbers: line 2 has '000F', so this may be 0x0010 too, not '0010'",
    )
    marked = rows.replace("000F", "0x000F").replace("0010", "0x0010")
    assert "address = 16," in made(tmp_path, marked, table="holding", quantities=wanted)


def test_an_address_of_0_in_a_one_based_table_is_refused_where_it_stands(tmp_path: Path) -> None:
    (words,) = troubles(
        tmp_path,
        "0x0000;Actual speed;UINT16;1;rpm\n",
        table="holding",
        quantities={"speed_rpm": "Actual speed"},
    )
    assert "line 2, column 'Reg no' (speed_rpm): expected a register number of 1 to 65536" in words


def test_a_hexadecimal_number_of_five_decimal_digits_is_taken_where_the_tech_says_so() -> None:
    assert read_address("0x9C55", "zero-based", leading_digit=False) == Place(address=40_021)


@pytest.mark.parametrize("text", ["", "abc", "70000", "4002100", "40000", "-3"])
def test_what_is_no_register_number_is_refused(text: str) -> None:
    with pytest.raises(CellError):
        read_address(text, "one-based")


@pytest.mark.parametrize(
    ("text", "type_name"),
    [
        ("UINT16", "u16"), ("u16", "u16"), ("WORD", "u16"), ("unsigned 16-bit", "u16"), ("UINT", "u16"),
        ("INT", "i16"), ("SINT16", "i16"), ("signed 16 bit", "i16"), ("SHORT", "i16"), ("S16", "i16"),
        ("UINT32", "u32"), ("UDINT", "u32"), ("DWORD", "u32"), ("UINT, 2 regs", "u32"),
        ("2 registers", "u32"),
        ("INT32", "i32"), ("DINT", "i32"), ("LONG", "i32"), ("signed, 2 x words", "i32"),
        ("REAL", "f32"), ("FLOAT32", "f32"), ("float (IEEE 754)", "f32"), ("F32", "f32"),
        ("FLOAT, 2 regs", "f32"), ("INT16U", "u16"), ("INT32U", "u32"), ("INT16", "i16"), ("SINT32", "i32"),
        ("UINT64", "u64"), ("ULINT", "u64"), ("bitfield", "bits"), ("ENUM", "bits"),
    ],
)  # fmt: skip
def test_types_are_read_as_manuals_write_them(text: str, type_name: str) -> None:
    assert read_type(text) == type_name


@pytest.mark.parametrize("text", ["", "text", "STRING", "LREAL", "DOUBLE", "INT64", "FLOAT, 1 reg"])
def test_a_type_that_no_map_can_hold_is_refused(text: str) -> None:
    with pytest.raises(CellError):
        read_type(text)


@pytest.mark.parametrize("text", ["USINT", "SINT", "INT8", "UINT8", "u8", "I8", "unsigned 8 bit", "UINT_8"])
def test_eight_bits_are_half_a_register_and_refused(text: str) -> None:
    """SINT and USINT are of 8 bits (IEC 61131-3, from memory)."""
    with pytest.raises(CellError, match="which half"):
        read_type(text)


@pytest.mark.parametrize(
    ("text", "means", "scale"),
    [
        ("0.1", None, 0.1), ("0,1", None, 0.1), ("1/10", None, 0.1), ("/10", None, 0.1), ("10^-1", None, 0.1),
        ("1e-2", None, 0.01), ("", None, 1.0), ("-", None, 1.0), ("10", None, 10.0),
        ("x10", "raw-times", 10.0),
        ("x10", "value-times", 0.1), ("× 10", "value-times", 0.1), ("10", "value-times", 0.1),
        ("1/10", "value-times", 0.1), ("0.1", "value-times", 0.1),
    ],
)  # fmt: skip
def test_scales_are_read_as_manuals_write_them(text: str, means: str | None, scale: float) -> None:
    assert read_scale(text, means) == scale  # type: ignore[arg-type]


@pytest.mark.parametrize("text", ["x10", "0", "ten", "1/0", "1/2/3", "nan", "1,000", "10,000"])
def test_a_scale_that_may_mean_two_things_or_none_is_refused(text: str) -> None:
    with pytest.raises(CellError):
        read_scale(text, None)


def test_units_and_tables_are_read_as_manuals_write_them() -> None:
    assert [read_unit(text) for text in ("0.1 gpm", "m³/h", "[kW]", "l/s", "°C")] == [
        (0.1, "gpm"), (1.0, "m3/h"), (1.0, "kW"), (1.0, "L/s"), (1.0, "C"),
    ]  # fmt: skip
    # Function codes 3 and 4 (application protocol V1.1b3): the other way round than the leading digits.
    assert [read_table_name(text) for text in ("3", "FC04", "Holding register")] == [
        "holding",
        "input",
        "holding",
    ]


def test_every_bad_cell_is_named_by_line_and_column_and_no_map_is_made(tmp_path: Path) -> None:
    bad = ROWS.replace("UINT16", "text").replace("0,1;gpm", "0,1;furlong").replace("1/10", "x10")
    found = troubles(tmp_path, bad)
    assert [sentence.partition("table.csv, ")[2].partition(" (")[0] for sentence in found] == [
        "line 3, column 'Format'",
        "line 4, column 'Mult'",
        "line 5, column 'Unit'",
    ]


def test_a_bad_line_that_nobody_chose_does_no_harm(tmp_path: Path) -> None:
    assert made(tmp_path, ROWS + "40099;Text;STRING;;\n") == made(tmp_path, ROWS)


def test_a_name_that_stands_twice_is_asked_not_guessed(tmp_path: Path) -> None:
    (sentence,) = troubles(tmp_path, ROWS + "40099;Head;REAL;;ft\n")
    assert "lines 6, 8 are all called 'Head'; name the one by its register number" in sentence


def test_a_misspelt_name_is_refused_with_the_nearest(tmp_path: Path) -> None:
    (sentence,) = troubles(tmp_path, ROWS, quantities={"head_m": "Heads"})
    assert sentence.endswith("no line is called 'Heads'; did you mean 'Head'?")


def test_a_number_that_says_no_table_is_refused_until_the_table_is_stated(tmp_path: Path) -> None:
    rows = "21;Head;REAL;;ft\n"
    (sentence,) = troubles(tmp_path, rows, quantities={"head_m": "Head"})
    assert "state --table" in sentence
    assert 'table = "input", address = 21' in made(
        tmp_path, rows, quantities={"head_m": "Head"}, table="input"
    )


def test_a_head_without_a_unit_is_refused(tmp_path: Path) -> None:
    (sentence,) = troubles(tmp_path, "40025;Head;REAL;;\n", quantities={"head_m": "Head"})
    assert "expected the unit of its register, one of m, ft, kPa" in sentence


def test_a_name_cannot_break_out_of_its_comment(tmp_path: Path) -> None:
    text = made(tmp_path, '40025;"Head\n[fault.1]";REAL;;ft\n', quantities={"head_m": "40025"})
    assert "\n[fault" not in text


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("Actual speed", "speed_rpm"), ("Motor power", "power_w"), ("Energy consumption", "energy_kwh"),
        ("Flow rate", "flow_m3h"), ("Differential pressure", "head_m"),
        ("Liquid temperature", "fluid_temperature_c"),
        ("Operating hours", "run_time_h"), ("Number of starts", "starts"),
        ("Speed reference", "speed_command_pct"),
        ("Speed setpoint", None), ("Power limit", None), ("Max. head", None), ("Rated current", None),
        ("Power factor", None), ("Serial number", None),
    ],
)  # fmt: skip
def test_only_what_the_words_say_is_proposed(name: str, expected: str | None) -> None:
    assert proposal(name) == expected
