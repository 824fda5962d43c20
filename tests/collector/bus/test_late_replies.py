"""What is remembered of unanswered requests, and how long time alone must do without a shorter read."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Callable

import pytest

from collector.bus import NoReply, ReadOnlyBus
from collector.bus.late_replies import LONGEST_QUIET_S, LateReplies
from tests.collector.bus.serial_devices import Reply, honest, on_pseudo_terminal, registers, serial_bus

SHAPE, OTHER = (3, 8), (3, 2)


def test_a_shape_is_remembered_until_order_and_time_both_clear_it() -> None:
    late = LateReplies(late_reply_s=1.0)
    late.unanswered(1, SHAPE, now_s=10.0)
    late.proven(1, now_s=10.9)
    assert late.may_come(1, SHAPE)
    late.proven(1, now_s=11.0)
    assert not late.may_come(1, SHAPE)


def test_only_the_shape_and_the_unit_that_went_unanswered_are_suspect() -> None:
    late = LateReplies(late_reply_s=1.0)
    late.unanswered(1, SHAPE, now_s=10.0)
    assert not late.may_come(1, OTHER)
    assert not late.may_come(2, SHAPE)


def test_a_late_answer_that_was_expected_does_not_begin_a_new_wait() -> None:
    late = LateReplies(late_reply_s=1.0)
    late.unanswered(1, SHAPE, now_s=10.0)
    late.unasked(1, SHAPE, now_s=10.8)
    assert late.quiet_left_s(1, now_s=11.0) == 0.0


def test_an_answer_nobody_expected_begins_a_wait() -> None:
    late = LateReplies(late_reply_s=1.0)
    late.unasked(1, SHAPE, now_s=10.0)
    assert late.may_come(1, SHAPE)
    assert late.quiet_left_s(1, now_s=10.4) == pytest.approx(0.6)


def test_a_refused_shorter_read_stays_remembered_without_a_new_wait() -> None:
    late = LateReplies(late_reply_s=1.0)
    late.unanswered(1, SHAPE, now_s=10.0)
    late.refused(1, OTHER)
    late.waited_out(1, [OTHER], now_s=11.0)
    assert not late.may_come(1, SHAPE)
    assert late.may_come(1, OTHER)
    assert late.quiet_left_s(1, now_s=11.0) == 0.0


def test_time_alone_clears_nothing_before_it_is_over() -> None:
    late = LateReplies(late_reply_s=1.0)
    late.unanswered(1, SHAPE, now_s=10.0)
    late.waited_out(1, [], now_s=10.9)
    assert late.may_come(1, SHAPE)


def test_time_alone_waits_as_long_again_as_the_silence_had_lasted() -> None:
    late = LateReplies(late_reply_s=1.0)
    late.unanswered(1, SHAPE, now_s=10.0)
    late.unanswered(1, OTHER, now_s=14.0)
    late.waited_out(1, [], now_s=15.0)
    assert late.may_come(1, SHAPE)
    assert late.quiet_left_s(1, now_s=15.0) == pytest.approx(3.0)
    late.waited_out(1, [], now_s=18.0)
    assert not late.may_come(1, SHAPE)


def test_a_single_lost_reply_costs_no_longer_wait() -> None:
    late = LateReplies(late_reply_s=1.0)
    late.unanswered(1, SHAPE, now_s=10.0)
    late.waited_out(1, [], now_s=11.0)
    assert not late.may_come(1, SHAPE)


def test_each_wait_of_a_silent_unit_is_longer_than_the_last_up_to_a_bound() -> None:
    late, now_s, waits = LateReplies(late_reply_s=1.0), 10.0, []
    for _ in range(12):
        late.unanswered(1, SHAPE, now_s)
        begun_s, now_s = now_s, now_s + late.quiet_left_s(1, now_s)
        late.waited_out(1, [], now_s)
        now_s += late.quiet_left_s(1, now_s)
        late.waited_out(1, [], now_s)
        assert not late.may_come(1, SHAPE)
        waits.append(now_s - begun_s)
    assert waits[:5] == pytest.approx([1, 1, 2, 4, 8])
    assert waits[-3:] == pytest.approx([LONGEST_QUIET_S] * 3)


def test_an_answer_makes_the_next_silence_a_new_one() -> None:
    late = LateReplies(late_reply_s=1.0)
    late.unanswered(1, SHAPE, now_s=10.0)
    late.unanswered(1, SHAPE, now_s=50.0)
    late.proven(1, now_s=51.0)
    late.unanswered(1, SHAPE, now_s=60.0)
    late.waited_out(1, [], now_s=61.0)
    assert not late.may_come(1, SHAPE)


def test_a_lengthened_wait_holds_up_nobody_and_a_usual_one_is_slept_through() -> None:
    late = LateReplies(late_reply_s=1.0)
    late.unanswered(1, SHAPE, now_s=10.0)
    assert not late.is_for_long(1, now_s=10.0)
    late.unanswered(1, SHAPE, now_s=14.0)
    late.waited_out(1, [], now_s=15.0)
    assert late.is_for_long(1, now_s=15.0)


def answers_its_first_request_only_after(
    late_s: float,
) -> Callable[[bytes], Reply]:
    """A drive that is busy with its first request for so long, and loses those that come meanwhile."""
    begun_s: list[float] = []

    def behave(request: bytes) -> Reply:
        if not begun_s:
            begun_s.append(time.monotonic())
            return [(late_s, honest(request))]
        return honest(request) if time.monotonic() - begun_s[0] > late_s else b""

    return behave


# With 0.1 s to answer and 0.2 s of quiet, waits of one length would ask again at 1.2 s and at 1.8 s.
@pytest.mark.parametrize("late_s", [1.25, 1.85])
def test_where_no_shorter_read_is_left_an_answer_much_later_than_allowed_is_not_believed(
    late_s: float,
) -> None:
    results: Counter[str] = Counter()
    with on_pseudo_terminal(answers_its_first_request_only_after(late_s)) as drive:
        with ReadOnlyBus(serial_bus(drive, timeout_s=0.1, late_reply_s=0.2)) as bus:
            begun_s, address = time.monotonic(), 0
            # Past the late answer in any case; on a busy machine until enough have come after it.
            while (waited_s := time.monotonic() - begun_s) < 2.6 or (results["right"] <= 5 and waited_s < 30):
                address += 7
                try:
                    data = bus.read_registers(1, "holding", address, 2)
                except NoReply:
                    time.sleep(bus.quiet_left_s(1))
                else:
                    results["right" if data == registers(address, 2) else "wrong"] += 1
    assert results["wrong"] == 0
    assert results["right"] > 5


def test_a_silent_drive_is_asked_less_and_less_and_never_holds_up_the_bus() -> None:
    with on_pseudo_terminal(lambda _: b"") as drive:
        with ReadOnlyBus(serial_bus(drive, timeout_s=0.02, late_reply_s=0.05)) as bus:
            longest_s = 0.0
            for _ in range(40):
                begun_s = time.monotonic()
                with pytest.raises(NoReply):
                    bus.read_registers(1, "holding", 0, 1)
                longest_s = max(longest_s, time.monotonic() - begun_s)
                time.sleep(0.05)
    assert len(drive.requests) < 12
    assert longest_s < 1.0


def test_a_drive_that_comes_back_from_a_long_silence_is_read_again() -> None:
    answers = iter([b""] * 3)
    with on_pseudo_terminal(lambda request: next(answers, honest(request))) as drive:
        with ReadOnlyBus(serial_bus(drive, timeout_s=0.02, late_reply_s=0.02)) as bus:
            data = b""
            while not data:
                try:
                    data = bus.read_registers(1, "holding", 5, 1)
                except NoReply:
                    time.sleep(bus.quiet_left_s(1))
    assert data == registers(5, 1)
