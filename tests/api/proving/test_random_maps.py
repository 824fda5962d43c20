"""Right maps of drives made by chance, with pumps of all sizes: none is accused."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from api.proving import Sample, Stated
from simulator.drives import random_drive_map
from tests.api.proving.drives import accused, image_words, proofs_of, register_map

SEEDS = range(1000, 1040)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_right_map_of_a_random_drive_is_never_accused(tmp_path: Path, seed: int) -> None:
    made = random_drive_map(seed)
    counters = [each for each in made.decoys if each.quantity in ("energy_kwh", "run_time_h", "starts")]
    first = {each.quantity: each for each in reversed(counters)}
    drive = replace(made.map, registers=(*made.truth.values(), *first.values()))
    known = Stated(rated_speed_rpm=made.rated["speed_rpm"], rated_power_w=made.rated["power_w"])
    duties = [(0.6, 0.5), (0.8, 0.9), (1.0, 1.0)]
    samples = [
        Sample(time_utc_ms=10_000 * place, words=image_words(drive, made.values_at(*duty)))
        for place, duty in enumerate(duties)
    ]
    proofs = proofs_of(tmp_path, register_map(drive), samples, known)
    assert accused(proofs) == set(), proofs
