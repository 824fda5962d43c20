"""Whose answer is it? A late one belongs to an earlier request; one too many belongs to a second drive."""

from __future__ import annotations

from dataclasses import replace

import pytest

from collector.survey.foreign import HeardRequest
from collector.survey.judge import AnswerHeard, Outcome, Verdict
from collector.survey.whose import Whose, whose_answers

TIMEOUT_S = 0.5


def read(unit: int, count: int = 1, function: int = 3) -> bytes:
    return bytes((unit, function, 0, 0, 0, count))


def answer(unit: int, begins_s: float, count: int = 1, function: int = 3) -> AnswerHeard:
    return AnswerHeard(unit=unit, shape=(function, 2 * count), begins_s=begins_s)


def refusal(unit: int, begins_s: float, function: int = 3) -> AnswerHeard:
    return AnswerHeard(unit=unit, shape=(function | 0x80, 2), begins_s=begins_s)


def turn(
    request: bytes, ends_s: float, *heard: AnswerHeard, foreign: tuple[HeardRequest, ...] = ()
) -> Verdict:
    """A request with all sound answers that came until the next one."""
    made = Verdict(
        unit=request[0],
        request=request,
        request_ends_s=ends_s,
        outcome=Outcome.SILENT,
        answer_bytes=7,
        bytes_heard=7 * len(heard),
        heard=heard,
        foreign=foreign,
    )
    if made.own is None:
        return made
    return replace(made, outcome=Outcome.ANSWERED, turn_around_s=made.own.begins_s - ends_s)


def sorted_out(*verdicts: Verdict) -> Whose:
    return whose_answers(verdicts, TIMEOUT_S)


def test_an_answer_in_another_units_turn_is_late_by_its_own_request() -> None:
    found = sorted_out(turn(read(1), 10.0), turn(read(2), 10.5), turn(read(3), 11.0, answer(1, 11.2)))
    assert (found.late(), found.surplus) == ({1: pytest.approx(1.2)}, set())


def test_an_answer_before_the_own_one_is_late_for_the_request_before() -> None:
    """Asked twice after a silence, a late drive answers both: that is no second drive."""
    found = sorted_out(turn(read(1), 10.0), turn(read(1), 11.0, answer(1, 11.2), answer(1, 11.4)))
    assert (found.late_s, found.surplus) == ({1: [pytest.approx(1.2)]}, set())


def test_an_answer_of_another_length_is_late_for_the_request_that_it_fits() -> None:
    found = sorted_out(
        turn(read(1), 10.0), turn(read(1, function=4), 10.6), turn(read(1, count=2), 11.2, answer(1, 11.3))
    )
    assert found.late() == {1: pytest.approx(1.3)}


def test_a_late_refusal_is_late_too() -> None:
    found = sorted_out(turn(read(1), 10.0), turn(read(2), 10.6, refusal(1, 10.7)))
    assert found.late() == {1: pytest.approx(0.7)}


def test_a_single_answer_after_a_lost_request_is_in_time() -> None:
    found = sorted_out(turn(read(1), 10.0), turn(read(1), 11.0, answer(1, 11.01)))
    assert (found.late(), found.surplus) == ({}, set())


def test_two_answers_to_the_first_request_are_one_too_many() -> None:
    found = sorted_out(turn(read(1), 10.0, answer(1, 10.01), answer(1, 10.06)))
    assert (found.late(), found.surplus) == ({}, {1})


def test_more_answers_than_requests_are_too_many_however_late() -> None:
    three = (answer(1, 11.0), answer(1, 11.1), answer(1, 11.2))
    assert sorted_out(turn(read(1), 10.0), turn(read(1), 10.9, *three)).surplus == {1}


def test_an_answer_after_the_unit_had_its_turn_and_answered_is_one_too_many() -> None:
    """A second drive of the same address that is later than the time-out."""
    found = sorted_out(turn(read(1), 10.0, answer(1, 10.01)), turn(read(2), 10.6, answer(1, 10.7)))
    assert (found.late(), found.surplus) == ({}, {1})


def test_where_another_master_asks_it_may_be_that_ones_answer() -> None:
    found = sorted_out(
        turn(read(1), 10.0, answer(1, 10.01)),
        turn(read(2), 10.6, answer(1, 10.7), foreign=(HeardRequest(1, 3),)),
    )
    assert found.surplus == set()


def test_what_fits_nothing_that_was_asked_is_nobodys() -> None:
    found = sorted_out(turn(read(1), 10.0), turn(read(2), 10.6, answer(1, 10.7, count=9), answer(8, 10.8)))
    assert (found.late(), found.surplus) == ({}, set())


@pytest.mark.parametrize(("took_s", "late"), [(0.49, {}), (0.51, {1: pytest.approx(0.51)})])
def test_in_its_own_turn_it_is_late_beyond_the_time_out_only(took_s: float, late: dict[int, float]) -> None:
    assert sorted_out(turn(read(1), 10.0, answer(1, 10.0 + took_s))).late() == late


@pytest.mark.parametrize(("times", "is_late"), [(1, False), (2, True)])
def test_who_mostly_answers_in_time_is_late_only_when_it_happens_again(times: int, is_late: bool) -> None:
    """Once may be this computer, busy with something else."""
    in_time = [turn(read(1), 10.0 + place, answer(1, 10.01 + place)) for place in range(9)]
    late = [turn(read(1), 20.0 + place, answer(1, 20.6 + place)) for place in range(times)]
    assert bool(sorted_out(*in_time, *late).late()) == is_late
