"""One sample of a table made by chance is mistyped: that sample and that quantity are named first."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise

import pytest

from api.commands.match_words import as_text
from collector.matching import PanelValue, Sample, answers, parse_panel
from simulator.drives import random_drive_map
from simulator.drives.registers import Image
from tests.collector.matching.panels import is_right, samples_of

SEED, AT = 2100, 1
OTHER_UNIT = {
    "gpm": "m3/h",
    "m3/h": "gpm",
    "L/s": "m3/h",
    "W": "kW",
    "kW": "W",
    "ft": "m",
    "m": "ft",
    "rpm": "",
}


def digits_swapped(samples: list[Sample], value: PanelValue) -> str:
    number = value.text.split()[0]
    places = [place for place, letter in enumerate(number) if letter.isdigit()]
    for one, other in pairwise(places):
        if number[one] != number[other]:
            letters = list(number)
            letters[one], letters[other] = letters[other], letters[one]
            return value.text.replace(number, "".join(letters))
    raise AssertionError(f"{value.text}: no two digits differ")


def wrong_unit(samples: list[Sample], value: PanelValue) -> str:
    return f"{value.text.split()[0]} {OTHER_UNIT[value.unit]}".strip()


def read_late(samples: list[Sample], value: PanelValue) -> str:
    before = samples[AT - 1].shown(value.quantity.name)
    assert before is not None
    return before.text


@pytest.mark.parametrize("mistake", [digits_swapped, wrong_unit, read_late])
@pytest.mark.parametrize("name", ["speed_rpm", "power_w", "flow_m3h", "head_m"])
def test_the_mistyped_value_is_named_first_and_the_right_register_stays(
    name: str, mistake: Callable[[list[Sample], PanelValue], str]
) -> None:
    drive = random_drive_map(SEED)
    near = {
        (register.table, register.address + place)
        for held in (drive.truth, drive.twins)
        for each in held.values()
        for register in (each if isinstance(each, tuple | list) else (each,))
        for place in range(-2, 4)
    }

    def sees(image: Image) -> Image:
        return {place: word for place, word in image.items() if place in near}

    samples = samples_of(drive, sees=sees)
    value = samples[AT].shown(name)
    assert value is not None
    if mistake is wrong_unit and not OTHER_UNIT[value.unit]:
        return
    (wrong,) = parse_panel(mistake(samples, value))
    assert wrong.text != value.text
    panel = tuple(wrong if each.quantity.name == name else each for each in samples[AT].panel)
    samples[AT] = replace(samples[AT], panel=panel)
    found = {answer.quantity: answer for answer in answers(samples)}
    assert found[name].left_out == AT
    assert is_right(drive, name, found[name].chosen)
    first = as_text(list(found.values()), samples).splitlines()[1].strip()
    assert first.startswith(f"sample {AT + 1}: look at its {value.quantity.words}, {wrong.text}: ")
