"""A disturbance counts what it changed, and nothing else."""

from __future__ import annotations

import pytest

from simulator.lines import Disturbance, Trouble
from simulator.lines.disturbance import Answer

THREE = Answer(unit_id=247, pdu=bytes.fromhex("03 06 03E8 FFFF 0280"))
ONE = Answer(unit_id=1, pdu=bytes.fromhex("03 02 03E8"))
REFUSAL = Answer(unit_id=1, pdu=bytes.fromhex("83 02"))


def made_of(answer: Answer, **shares: float) -> tuple[Answer | None, dict[str, int]]:
    trouble = Trouble(Disturbance(**shares), seed=1)  # type: ignore[arg-type]
    return trouble.of_content(answer), dict(+trouble.done)


def test_what_has_nothing_to_lose_is_not_counted_as_shortened() -> None:
    assert made_of(ONE, short=1.0) == (ONE, {})
    assert made_of(REFUSAL, short=1.0) == (REFUSAL, {})
    assert made_of(THREE, short=1.0)[1] == {"short": 1}


def test_a_refusal_has_no_other_function_to_be_mistaken_for() -> None:
    assert made_of(REFUSAL, wrong_function=1.0) == (REFUSAL, {})
    assert made_of(ONE, wrong_function=1.0)[1] == {"wrong_function": 1}


def test_a_refusal_as_busy_is_no_change_when_it_was_one_already() -> None:
    busy = Answer(unit_id=1, pdu=bytes.fromhex("83 06"))
    assert made_of(busy, exception=1.0) == (busy, {})
    assert made_of(REFUSAL, exception=1.0)[1] == {"exception": 1}


def test_the_unit_above_the_highest_is_the_lowest() -> None:
    other, done = made_of(THREE, foreign=1.0)
    assert other is not None
    assert (other.unit_id, done) == (1, {"foreign": 1})


@pytest.mark.parametrize("kind", ["noise", "lost_byte", "damaged_byte"])
def test_hurt_bytes_differ_and_are_counted_as_often(kind: str) -> None:
    trouble = Trouble(Disturbance(**{kind: 0.3}), seed=1)
    frame = bytes(range(20))
    hurt = sum(trouble.of_bytes(frame) != frame for _ in range(500))
    assert hurt == trouble.done[kind]
    assert 100 < hurt < 200
