from __future__ import annotations

from pathlib import Path

import pytest

from collector.site import Pump, SiteFileError, load_site

SITE = '[site]\nname = "Harbour baths"\ntime_zone = "Europe/Lisbon"\n'
PUMP = '[[pump]]\nname = "P01"\n'


def load(folder: Path, text: str) -> Pump:
    path = folder / "site.toml"
    path.write_text(SITE + PUMP + text, encoding="utf-8")
    return load_site(path).pumps[0]


def refusal(folder: Path, text: str) -> str:
    with pytest.raises(SiteFileError) as caught:
        load(folder, text)
    return str(caught.value).removeprefix(str(folder / "site.toml"))


def test_a_plate_keeps_the_techs_own_words(tmp_path: Path) -> None:
    words = 'make = "Nobody & Sons"\nmodel = "as stamped"\nserial = "000017"\nseal = "carbon on ceramic"\n'
    plate = load(tmp_path, f"[pump.nameplate]\n{words}phases = 3\n").nameplate
    assert (plate.make, plate.model, plate.serial) == ("Nobody & Sons", "as stamped", "000017")
    assert (plate.seal, plate.phases) == ("carbon on ceramic", 3)


def test_a_pump_of_which_nothing_was_written_down_has_empty_plates(tmp_path: Path) -> None:
    pump = load(tmp_path, "")
    assert (pump.nameplate.make, pump.taps.suction_pipe_mm, pump.control.mode) == ("", None, None)


@pytest.mark.parametrize(
    ("line", "name", "expected"),
    [
        # Units by NIST SP 811, appendix B: 231 in³ a gallon, 25.4 mm an inch, 745.69987 W a horsepower.
        ('rated_flow_m3h = "100 gpm"', "rated_flow_m3h", 22.7124707),
        ("rated_flow_m3h = 22.7", "rated_flow_m3h", 22.7),
        ('rated_head_m = "40 ft"', "rated_head_m", 12.192),
        ('impeller_diameter_mm = "6.5 in"', "impeller_diameter_mm", 165.1),
        ("impeller_diameter_mm = 165", "impeller_diameter_mm", 165.0),
        ('motor_power_w = "2 hp"', "motor_power_w", 1491.39974),
    ],
)
def test_a_number_is_in_the_unit_of_its_name_or_in_the_one_written_beside_it(
    tmp_path: Path, line: str, name: str, expected: float
) -> None:
    plate = load(tmp_path, f"[pump.nameplate]\n{line}\n").nameplate
    assert getattr(plate, name) == pytest.approx(expected)


def test_taps_may_lie_below_the_level_that_heights_are_counted_from(tmp_path: Path) -> None:
    taps = load(
        tmp_path,
        '[pump.taps]\nsuction_gauge_height_m = "-1 ft 6 in"\nsuction_pipe_mm = "2 in"\n'
        "discharge_gauge_height_m = 0.4\ndischarge_pipe_mm = 40\n",
    ).taps
    assert taps.suction_gauge_height_m == pytest.approx(-0.4572)
    assert taps.suction_pipe_mm == pytest.approx(50.8)
    assert (taps.discharge_gauge_height_m, taps.discharge_pipe_mm) == (0.4, 40.0)


def test_control_says_how_at_which_duty_and_who_speaks_on_the_line(tmp_path: Path) -> None:
    control = load(
        tmp_path,
        '[pump.control]\nmode = "constant_pressure"\nbus_master = "the building\'s controller"\n'
        "duty_flow_m3h = 14\nduty_head_m = 8\n",
    ).control
    assert (control.mode, control.bus_master) == ("constant_pressure", "the building's controller")
    assert (control.duty_flow_m3h, control.duty_head_m) == (14.0, 8.0)


def test_each_bearing_has_the_two_sizes_that_its_grease_is_reckoned_by(tmp_path: Path) -> None:
    plate = load(
        tmp_path,
        '[pump.nameplate]\nbearings = [{ place = "drive end", outside_mm = 52, width_mm = 15 }]\n',
    ).nameplate
    (bearing,) = plate.bearings
    assert (bearing.place, bearing.outside_mm, bearing.width_mm) == ("drive end", 52.0, 15.0)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            '[pump.nameplate]\nmakr = "x"\n',
            "line 7: pump[1].nameplate: unknown key 'makr'; did you mean 'make'?",
        ),
        ('[pump.nameplte]\nmake = "x"\n', "unknown key 'nameplte'; did you mean 'nameplate'?"),
        ("[pump.nameplate]\nphases = 2\n", "line 7: pump[1].nameplate.phases: should be 1 or 3, not 2"),
        ('[pump.nameplate]\nrated_flow_m3h = "100"\n', "'100' has no unit; write a number and its unit"),
        ('[pump.nameplate]\nrated_flow_m3h = "9 ft"\n', "'ft' is no unit of flow here"),
        ("[pump.nameplate]\nrated_head_m = -3\n", "should be greater than 0, not -3"),
        ("[pump.nameplate]\nbearings = [{ outside_mm = 52 }]\n", "bearings[1].width_mm: is missing"),
        ('[pump.nameplate]\nserial = "a\\nb"\n', "holds a control character"),
        ('[pump.control]\nmode = "magic"\n', "should be 'constant_pressure', "),
        ("[pump.taps]\nsuction_pipe_mm = 0\n", "should be greater than 0, not 0"),
    ],
)
def test_a_mistake_is_told_by_its_line_and_key(tmp_path: Path, text: str, said: str) -> None:
    sentence = refusal(tmp_path, text)
    assert said in sentence
    assert "\n" not in sentence
