"""What is held between days comes back from its bytes to the last bit, in less room than in memory."""

from __future__ import annotations

import zlib
from dataclasses import fields, replace

import numpy as np
import pytest

from api.analysis.held_bytes import from_bytes, to_bytes
from api.analytics.change import Days, by_day
from api.analytics.residuals import HEAD_BELIEF_SD
from api.analytics.slow_look import Held, nothing_held
from api.analytics.watch import Watched

HOURS, DAYS = 2400, 100


@pytest.fixture
def days() -> Days:
    rng = np.random.default_rng(1)
    features = rng.normal(size=(HOURS, len(HEAD_BELIEF_SD)))
    day = np.repeat(np.arange(DAYS), HOURS // DAYS)
    return by_day(day, features, np.ones(HOURS), rng.normal(size=HOURS), HEAD_BELIEF_SD)


def holding(days: Days) -> Held:
    return replace(nothing_held(None), head=Watched(rows=(days, days)))


def back(days: Days) -> Days:
    return from_bytes(to_bytes(holding(days))).head.rows[0]


def test_every_number_comes_back_to_the_last_bit(days: Days) -> None:
    for field in fields(Days):
        before, after = getattr(days, field.name), getattr(back(days), field.name)
        assert (before.dtype, before.shape, before.tobytes()) == (after.dtype, after.shape, after.tobytes())


def test_matrices_that_are_not_symmetric_come_back_whole(days: Days) -> None:
    odd = replace(days, inside=days.inside + np.triu(np.ones(days.inside.shape[1:]), 1))
    assert np.array_equal(back(odd).inside, odd.inside)


def test_half_of_a_symmetric_matrix_is_room_enough(days: Days) -> None:
    as_it_lies = sum(getattr(days, field.name).nbytes for field in fields(Days))
    assert len(to_bytes(holding(days))) < 0.65 * as_it_lies


def test_bytes_that_were_cut_off_are_refused(days: Days) -> None:
    with pytest.raises(zlib.error, match="incomplete or truncated"):
        from_bytes(to_bytes(holding(days))[:-50])
