"""Which answers are believed to be their requests', and that no wrong one is, whatever happens on the line.

The random lines are of frames whose every register differs, so that an answer taken for another's shows. The
last tests keep the promise honest: with either half of the guard switched off, wrong ones are believed.
"""

from __future__ import annotations

import random
import struct
from collections import Counter

import pytest

from collector.listening.answer_order import AnswerOrder
from collector.listening.decoder import Noise
from collector.listening.exchanges import Event, Exchange, Outcome, Unheard
from tests.collector.bus.serial_devices import framed
from tests.collector.listening.ears import Talk, heard
from tests.collector.listening.late_line import LateLine, Manners, truth
from tests.collector.listening.streams import answer, read


def words(*values: int) -> bytes:
    return struct.pack(f">{len(values)}H", *values)


A, B, C = read(1, 3, 100, 2), read(1, 3, 200, 2), read(1, 3, 300, 5)
"""A and B have answers of one shape, C has another."""
TWO, FIVE = answer(1, 3, words(1, 2)), answer(1, 3, words(1, 2, 3, 4, 5))
OTHER = read(2, 3, 0, 1)
"""Of a unit that is not looked at: its master has gone on."""
REFUSED = framed(bytes.fromhex("01 83 02"))
ROUND = [(0.0, A), (0.1, TWO)]
"""After a minute of silence, so that all before it is over."""


def certain(*talks: Talk, begins_s: float = -60.0) -> list[bool]:
    order = AnswerOrder(1, 1.0)
    told = []
    for event in heard(*talks, begins_s=begins_s):
        is_certain = order.is_certain(event)
        if isinstance(event, Exchange) and event.request.unit == 1 and event.answer is not None:
            told.append(is_certain)
    return told


def test_answers_in_order_are_certain() -> None:
    assert certain(*ROUND, (0.2, B), (0.3, TWO), (0.4, C), (0.5, FIVE)) == [True] * 3


def test_after_an_unanswered_request_an_answer_of_its_shape_is_not_believed() -> None:
    assert certain(*ROUND, (0.2, B), (0.5, A), (0.6, TWO), (0.7, B), (0.8, TWO)) == [True, False, False]


def test_an_answer_of_another_shape_proves_that_the_old_one_has_come_or_never_comes() -> None:
    talks = [*ROUND, (0.2, B), (0.5, C), (0.6, FIVE), (0.7, A), (0.8, TWO)]
    assert certain(*talks) == [True, True, True]


def test_so_does_time_once_the_master_has_gone_on_to_another_unit() -> None:
    assert certain(*ROUND, (0.2, B), (0.5, OTHER), (1.5, A), (1.54, TWO)) == [True, False]
    assert certain(*ROUND, (0.2, B), (0.5, OTHER), (1.5, A), (1.56, TWO)) == [True, True]


def test_a_master_that_says_nothing_may_wait_for_five_seconds() -> None:
    assert certain(*ROUND, (0.2, B), (6.0, A), (6.24, TWO)) == [True, False]
    assert certain(*ROUND, (0.2, B), (6.0, A), (6.26, TWO)) == [True, True]


def test_where_only_one_block_of_a_shape_is_read_there_is_nothing_to_mistake() -> None:
    assert certain((0, A), (0.3, A), (0.4, TWO), (0.5, A), (0.6, TWO)) == [True, True]


def test_an_answer_that_nobody_asked_for_casts_doubt_on_all_for_a_while() -> None:
    talks = [*ROUND, (0.2, B), (0.3, TWO), (0.35, TWO), (0.4, A), (0.5, TWO), (0.6, C), (0.7, FIVE)]
    assert certain(*talks) == [True, True, False, False]
    assert certain(*talks, (2.0, A), (2.1, TWO)) == [True, True, False, False, True]


def test_a_refusal_says_nothing_of_which_request_it_refuses() -> None:
    # It may be A's, and B's answer still to come.
    assert certain((0.0, A), (0.3, B), (0.4, REFUSED), (0.5, A), (0.6, TWO)) == [False, False]
    # Where that would have another shape, there is nothing to mistake.
    assert certain((0.0, A), (0.3, C), (0.4, REFUSED), (0.5, A), (0.6, TWO)) == [False, True]


def test_after_the_beginning_nothing_is_certain_until_older_answers_must_have_come() -> None:
    # Somebody may have been asked just before: his answer would come behind the first request.
    talks = [(0.0, A), (0.1, TWO), (0.2, C), (0.3, FIVE), (1.04, C), (1.06, FIVE), (1.2, C), (1.3, FIVE)]
    assert certain(*talks, begins_s=-0.01) == [False, False, True, True]


def test_when_bytes_were_lost_at_the_port_it_is_as_at_the_beginning() -> None:
    # A lump as large as what systems keep for who does not read: what came after it was lost.
    flood = (OTHER + answer(2, 3, b"\0\1")) * 150
    talks = [*ROUND, (0.2, flood), (0.3, A), (0.4, TWO), (0.5, C), (0.6, FIVE), (2.0, A), (2.1, TWO)]
    assert certain(*talks) == [True, False, False, True]


HURT = bytes(8)
"""A request that was hurt, of whomever."""


def test_a_damage_may_hide_a_request_whose_answer_is_then_taken_for_the_next_ones() -> None:
    assert certain(*ROUND, (0.2, HURT), (0.3, C), (0.4, FIVE), (0.5, C), (0.6, FIVE)) == [True, False, True]


def test_an_answer_behind_a_damaged_request_was_its() -> None:
    assert certain(*ROUND, (0.2, HURT), (0.3, TWO), (0.6, C), (0.7, FIVE)) == [True, True]


def test_a_longer_damage_may_hide_more_requests() -> None:
    talks = [*ROUND, (0.2, HURT * 2), *[(0.3 + place / 10, each) for place, each in enumerate((C, FIVE) * 3)]]
    assert certain(*talks) == [True, False, False, True]


def test_stray_bytes_of_a_driver_that_turns_round_hide_nothing() -> None:
    assert certain(*ROUND, (0.2, b"\x00\xff\x00"), (0.3, B), (0.4, TWO)) == [True, True]


ONE_SHAPE = ((1, 10, 2), (1, 20, 2), (1, 30, 2), (5, 10, 2))
MIXED = ((1, 10, 2), (5, 40, 2), (1, 20, 2), (1, 30, 7), (5, 10, 4))
SINGLE = ((1, 10, 4), (5, 40, 4), (1, 20, 2))
LINES = {
    "one shape": Manners(reads=ONE_SHAPE),
    "mixed": Manners(reads=MIXED),
    "one block of a shape": Manners(reads=SINGLE),
    "without a pause": Manners(reads=MIXED, every_s=0.0),
    "often": Manners(reads=ONE_SHAPE, every_s=0.5, timeout_s=0.05),
    "a patient master": Manners(reads=MIXED, timeout_s=0.8, late=0.3),
    "very damaged": Manners(reads=SINGLE, hurt_for_us=0.3),
    "late and damaged": Manners(reads=MIXED, late=0.5, hurt_for_us=0.2, restarts=0.05),
    "a quick drive": Manners(reads=ONE_SHAPE, late_reply_s=0.2, late=0.3, restarts=0.05),
    "sound without a pause": Manners(
        reads=MIXED, every_s=0.0, late=0, lost=0, hurt_for_all=0, hurt_for_us=0, restarts=0
    ),
    "sound": Manners(reads=ONE_SHAPE, late=0, lost=0, hurt_for_all=0, hurt_for_us=0, restarts=0),
}


def told(name: str, seed: int, seconds: float, deaf_to: type[Event] | tuple[()] = ()) -> Counter[str]:
    """Return how many answers were believed and right, believed and wrong, and right but not believed."""
    counts: Counter[str] = Counter()
    orders = {unit: AnswerOrder(unit, LINES[name].late_reply_s) for unit in (1, 5)}
    for event in LateLine(LINES[name], random.Random(seed)).run(seconds):
        if isinstance(event, deaf_to):
            continue
        certain_of = {unit: order.is_certain(event) for unit, order in orders.items()}
        if isinstance(event, Exchange) and event.outcome is Outcome.ANSWERED and event.answer is not None:
            unit, (_, address, count) = event.request.unit, event.request.read
            is_right = event.answer.pdu[2:] == truth(unit, address, count)
            counts[f"{'believed' if certain_of[unit] else 'left'} {'right' if is_right else 'wrong'}"] += 1
    return counts


LEAST_BELIEVED = {
    "one shape": 0.5,
    "mixed": 0.5,
    "one block of a shape": 0.6,
    "without a pause": 0.05,
    "often": 0.04,
    "a patient master": 0.5,
    "very damaged": 0.2,
    "late and damaged": 0.15,
    "a quick drive": 0.5,
    "sound without a pause": 0.55,
    "sound": 0.98,
}
"""Of the right answers. Of several blocks of one shape without a pause nothing can be told apart."""
NOT_MISTAKEN = {"one block of a shape", "very damaged", "sound without a pause", "sound"}
"""Lines on which each answer that is heard is the right one."""


@pytest.mark.parametrize("name", LINES)
def test_no_wrong_answer_is_believed_on_any_line(name: str) -> None:
    counts: Counter[str] = Counter()
    for seed in range(6):
        counts += told(name, seed, 30.0 if LINES[name].every_s == 0.0 else 100.0)
    assert counts["believed wrong"] == 0
    assert counts["believed right"] >= LEAST_BELIEVED[name] * (
        counts["believed right"] + counts["left right"]
    )
    assert (counts["left wrong"] > 0) == (name not in NOT_MISTAKEN)


@pytest.mark.parametrize("deaf_to", [Noise, Unheard])
def test_who_does_not_heed_damage_or_the_beginning_believes_wrong_answers(deaf_to: type[Event]) -> None:
    assert sum(told("late and damaged", seed, 120.0, deaf_to)["believed wrong"] for seed in range(30))
