"""The right register, type, order, scale and unit first, in tables made by chance; never sure of a wrong one.

200 tables and more variants: ``python -m tests.bench_match``.
"""

from __future__ import annotations

import pytest

from collector.matching import Answer, Sureness, answers
from simulator.drives import random_drive_map
from simulator.drives.registers import Image
from tests.collector.matching.panels import any_duties, is_right, samples_of

SEEDS = range(1000, 1016)
QUANTITIES = ("speed_rpm", "power_w", "flow_m3h", "head_m")


def wrong(seed: int, found: tuple[Answer, ...]) -> list[Answer]:
    drive = random_drive_map(seed)
    return [answer for answer in found if not is_right(drive, answer.quantity, answer.chosen)]


def test_three_samples_are_enough_for_all_four_quantities_of_nearly_every_table() -> None:
    missed = [seed for seed in SEEDS if wrong(seed, answers(samples_of(random_drive_map(seed))))]
    assert len(missed) <= 1, missed


def test_most_of_them_are_said_to_be_sure() -> None:
    found = [answer for seed in SEEDS[:6] for answer in answers(samples_of(random_drive_map(seed)))]
    assert sum(answer.sureness is Sureness.SURE for answer in found) > 0.6 * len(found)


@pytest.mark.parametrize("count", [2, 3])
def test_nothing_wrong_is_ever_said_to_be_sure(count: int) -> None:
    for seed in SEEDS[:6]:
        samples = samples_of(random_drive_map(seed), any_duties(seed, count), unrest=0.003, seed=seed)
        lies = [each for each in wrong(seed, answers(samples)) if each.sureness is Sureness.SURE]
        assert lies == [], seed


@pytest.mark.parametrize("seed", [1003, 1013, 1020])
def test_a_sample_given_twice_proves_nothing_more(seed: int) -> None:
    two = samples_of(random_drive_map(seed), any_duties(seed, 2))
    assert all(answer.sureness is not Sureness.SURE for answer in answers([*two, *two]))


def test_one_sample_is_never_more_than_open_and_says_what_to_change() -> None:
    for answer in answers(samples_of(random_drive_map(1000), [(1.0, 1.0)])):
        assert answer.sureness <= Sureness.OPEN
        assert "change the speed by 10 %" in answer.advice


def test_values_that_do_not_move_never_become_sure() -> None:
    found = answers(samples_of(random_drive_map(1001), [(0.9, 1.0)] * 5))
    assert {answer.sureness for answer in found} <= {Sureness.OPEN, Sureness.NONE}
    assert all("hardly moved" in answer.advice for answer in found)


@pytest.mark.parametrize("quantity", QUANTITIES)
def test_what_was_not_read_is_not_found_elsewhere_for_sure(quantity: str) -> None:
    for seed in SEEDS[:2]:
        drive = random_drive_map(seed)
        hidden = {
            (register.table, register.address + place)
            for register in (drive.truth[quantity], *drive.twins[quantity])
            for place in range(register.words)
        }

        def without(image: Image, hidden: set[tuple[str, int]] = hidden) -> Image:
            return {place: word for place, word in image.items() if place not in hidden}

        # Speed alone was changed: everything that follows the speed goes along with the flow.
        samples = samples_of(drive, [(1.0, 1.0), (0.9, 1.0), (0.75, 1.0)], sees=without)
        (answer,) = [each for each in answers(samples) if each.quantity == quantity]
        assert answer.sureness is not Sureness.SURE, seed


def test_where_values_stray_while_the_panel_is_read_more_samples_settle_it() -> None:
    missed = [
        seed
        for seed in SEEDS[:4]
        if wrong(
            seed, answers(samples_of(random_drive_map(seed), any_duties(seed, 5), unrest=0.002, seed=seed))
        )
    ]
    assert len(missed) <= 1, missed
