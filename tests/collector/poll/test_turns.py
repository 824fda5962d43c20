from __future__ import annotations

import pytest

from collector.poll.pump_reader import PumpReader
from collector.poll.turns import Allowance, Turn, due_turns
from collector.quantities import quantity
from collector.registers import Point, RegisterMap

MAP = RegisterMap(
    name="m", points=(Point(quantity=quantity("head_m"), table="input", address=0, type="u16"),), faults={}
)


def turn(name: str = "P", due_s: float = 0.0, failures: int = 0) -> Turn:
    return Turn(reader=PumpReader(name, 1, MAP), period_s=10.0, due_s=due_s, failures=failures)


def test_turns_stay_on_their_grid_however_long_each_took() -> None:
    one = turn()
    for now_s in (0.4, 12.0, 29.9):
        one.answered(now_s)
    assert one.due_s == 30.0


def test_of_the_turns_that_were_missed_only_the_last_is_made_up_and_the_grid_stays() -> None:
    one = turn()
    one.answered(now_s=34.0)
    assert one.due_s == 30.0
    one.answered(now_s=34.1)
    assert one.due_s == 40.0


def test_a_silent_pump_waits_twice_as_long_each_time_up_to_the_longest() -> None:
    one, waits_s = turn(), []
    for _ in range(6):
        before_s = one.due_s
        one.was_silent(longest_s=60.0, now_s=before_s)
        waits_s.append(one.due_s - before_s)
    assert waits_s == [10.0, 20.0, 40.0, 60.0, 60.0, 60.0]


def test_a_pump_read_seldom_is_not_asked_more_often_when_silent() -> None:
    one = Turn(reader=PumpReader("P", 1, MAP), period_s=300.0, due_s=0.0)
    one.was_silent(longest_s=60.0, now_s=1.0)
    assert one.due_s == 300.0


def test_an_answer_ends_the_waiting() -> None:
    one = turn(failures=5)
    one.answered(now_s=0.0)
    assert (one.failures, one.due_s) == (0, 10.0)


def test_silent_pumps_come_last_and_the_rest_in_the_order_of_the_file() -> None:
    turns = [turn("A", failures=1), turn("B"), turn("C"), turn("D", due_s=5.0)]
    assert [one.reader.pump for one in due_turns(turns, now_s=1.0)] == ["B", "C", "A"]


def test_silent_pumps_together_take_a_small_share_of_the_line() -> None:
    allowance, spent_s, now_s = Allowance(timeout_s=0.5, now_s=0.0), 0.0, 0.0
    while now_s < 3600.0:
        if allowance.is_left(now_s):
            allowance.spend(0.5)
            spent_s += 0.5
            now_s += 0.5
        else:
            now_s += 0.1
    assert spent_s / 3600.0 == pytest.approx(0.08, abs=0.002)


def test_a_rare_silence_is_always_allowed() -> None:
    allowance = Allowance(timeout_s=0.5, now_s=0.0)
    for minute in range(1, 30):
        assert allowance.is_left(60.0 * minute)
        allowance.spend(0.5)
