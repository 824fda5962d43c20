from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from collector.registers import RegisterMap, RegisterMapError, load_register_map

MAP = '[map]\nname = "twelve points, from the manual"\naddresses = "zero-based"\n'
FLOW = '[quantity.flow_m3h]\ntable = "input"\naddress = 12\ntype = "u16"\nscale = 0.1\nunit = "gpm"\n'
CODE = '[quantity]\nfault_code = { table = "input", address = 90, type = "u16" }\n'
FAULT = '[fault.12]\nwords = "motor too hot"\ncheck = "is the fan blocked?"\n'


def load(folder: Path, text: str) -> RegisterMap:
    path = folder / "map.toml"
    path.write_text(text, encoding="utf-8")
    return load_register_map(path)


def test_a_zero_based_address_goes_over_the_wire_as_written(tmp_path: Path) -> None:
    assert load(tmp_path, MAP + FLOW).points[0].address == 12


def test_a_one_based_address_goes_over_the_wire_one_lower(tmp_path: Path) -> None:
    assert load(tmp_path, MAP.replace("zero", "one") + FLOW).points[0].address == 11


def test_scale_and_unit_become_one_factor(tmp_path: Path) -> None:
    # A US gallon is 231 cubic inches of 25.4 mm exactly (NIST SP 811, appendix B).
    gallon_m3 = 231 * 0.0254**3
    assert load(tmp_path, MAP + FLOW).points[0].factor == pytest.approx(0.1 * gallon_m3 * 60, rel=1e-15)


def test_a_temperature_in_fahrenheit_is_shifted_too(tmp_path: Path) -> None:
    text = '[quantity.drive_temperature_c]\ntable = "input"\naddress = 1\ntype = "u16"\nunit = "F"\n'
    point = load(tmp_path, MAP + text).points[0]
    assert 212 * point.factor + point.offset == pytest.approx(100.0)


def test_orders_of_the_map_hold_unless_an_entry_says_otherwise(tmp_path: Path) -> None:
    other = (
        FLOW.replace("flow_m3h", "head_m").replace('"gpm"', '"ft"').replace("= 12", "= 14")
        + 'word_order = "big"\n'
    )
    points = load(tmp_path, MAP + 'byte_order = "little"\nword_order = "little"\n' + FLOW + other).points
    assert [(point.byte_order, point.word_order) for point in points] == [
        ("little", "little"),
        ("little", "big"),
    ]


def test_a_fault_code_keeps_the_manuals_meaning(tmp_path: Path) -> None:
    meaning = load(tmp_path, MAP + FLOW + FAULT).faults[12]
    assert (meaning.words, meaning.check) == ("motor too hot", "is the fan blocked?")


def test_a_fault_code_may_be_written_as_the_manual_does(tmp_path: Path) -> None:
    assert 12 in load(tmp_path, MAP + FLOW + FAULT.replace("12", "0x0C")).faults


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (MAP, ": quantity: is missing"),
        (
            MAP.replace("zero-based", "40001"),
            ", line 3: map.addresses: should be 'zero-based' or 'one-based'",
        ),
        (MAP + "max_blok = 3\n" + FLOW, ", line 4: map: unknown key 'max_blok'; did you mean 'max_block'?"),
        (MAP + "max_block = 126\n" + FLOW, ", line 4: map.max_block: should be less than or equal to 125"),
        (
            MAP + FLOW.replace("flow_", "flew_"),
            ", line 4: unknown quantity 'flew_m3h'; did you mean 'flow_m3h'?",
        ),
        (
            MAP + FLOW.replace("type", "tipe"),
            ", line 7: quantity.flow_m3h: unknown key 'tipe'; did you mean 'type'?",
        ),
        (MAP + FLOW.replace("u16", "f16"), ", line 7: quantity.flow_m3h.type: should be 'u16', 'i16'"),
        (MAP + FLOW.replace("gpm", "psi"), "unit 'psi' cannot be turned into m3/h; known: 'm3/h', 'L/s'"),
        (MAP + FLOW.replace("= 12", "= 65536"), "a zero-based address of u16 is 0 to 65535, not 65536"),
        (MAP + FLOW.replace("= 12", "= 65535").replace("u16", "u32"), "address of u32 is 0 to 65534"),
        (
            MAP.replace("zero", "one") + FLOW.replace("= 12", "= 0"),
            "a one-based address of u16 is 1 to 65536",
        ),
        (MAP + FLOW.replace("0.1", "0"), "scale 0 would make every value the same"),
        (
            MAP + FLOW + FLOW.replace("flow_m3h", "head_m").replace("gpm", "ft"),
            ", line 10: head_m: is on a register of flow_m3h; a register holds one quantity",
        ),
        (
            MAP
            + FLOW.replace("u16", "u32")
            + FLOW.replace("flow_m3h", "starts")
            .replace("= 12", "= 13")
            .replace('unit = "gpm"\n', "")
            .replace("scale = 0.1\n", ""),
            "starts: is on a register of flow_m3h",
        ),
        (MAP + FLOW.replace('unit = "gpm"\n', ""), "flow_m3h: needs the unit of its register; one of 'm3/h'"),
        (MAP + FLOW + "no_value = 0xFFFF\n", "no_value: should be a list, as [0xFFFF], not 65535"),
        (MAP + FLOW.replace("= 12", '= "12"'), "address: should be a whole number, not '12'"),
        (MAP + FLOW + "no_value = [0x10000]\n", "no_value 65536 does not fit the type u16"),
        (MAP + FLOW + "highest_raw = 65536\n", "highest_raw 65536 does not fit the type u16"),
        (MAP + FLOW + "no_value = [nan]\n", "no_value nan does not fit the type u16"),
        (
            MAP + FLOW.replace("u16", "f32") + "no_value = [1e39]\n",
            "no_value 1e+39 does not fit the type f32",
        ),
        (
            MAP + FLOW + CODE + FAULT.replace("12", "-1"),
            "fault code -1 can never come from a register",
        ),
        (MAP + FLOW + CODE + FAULT.replace("12", "65536"), "can never come from a register of type u16"),
        (MAP + FLOW + FAULT.replace("12", "0"), "0 means that the drive reports no fault"),
        (MAP + FLOW + FAULT.replace("too hot", "too\\nhot"), "fault.12: words should be one line"),
        (MAP + FLOW + '[fault]\n12 = "too hot"\n', "fault.12: should be a table, as { key = value }, not"),
        (MAP + FLOW + FAULT.replace("12", "hot"), ", line 10: a fault code is a whole number, not 'hot'"),
        (MAP + "[quantity]\n", "holds no [quantity.NAME], so there is nothing to read"),
        (
            MAP + FLOW.replace("flow_m3h", "starts").replace("u16", "f32").replace('unit = "gpm"\n', ""),
            "starts: is a whole number, so its type cannot be f32",
        ),
    ],
)
def test_a_wrong_map_is_refused_in_one_line_that_says_where_and_what(
    tmp_path: Path, text: str, words: str
) -> None:
    with pytest.raises(RegisterMapError) as caught:
        load(tmp_path, text)
    assert words in str(caught.value)
    assert str(caught.value).startswith(str(tmp_path / "map.toml"))
    assert "\n" not in str(caught.value)


def outcome(path: Path) -> str:
    try:
        return f"{len(load_register_map(path).points)} points"
    except RegisterMapError as error:
        return str(error)


PIECES = st.sampled_from([MAP, FLOW, FAULT, "[", "]", "=", '"', "\n", "no_value = [1, nan, inf]\n", "#", "{"])


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(pieces=st.lists(PIECES | st.text(max_size=8), max_size=6))
def test_whatever_stands_in_the_file_it_is_read_or_refused_in_one_line(
    tmp_path: Path, pieces: list[str]
) -> None:
    path = tmp_path / "map.toml"
    path.write_bytes("".join(pieces).encode("utf-8", errors="surrogatepass"))
    assert len(outcome(path).splitlines()) == 1
