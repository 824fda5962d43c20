"""From single requests to what is known of a unit, of a line, and of the waits that it needs."""

from __future__ import annotations

import pytest

from collector.survey.foreign import HeardRequest
from collector.survey.judge import AnswerHeard, Outcome, Verdict
from collector.survey.result import Timing, UnitFound
from collector.survey.tally import counts_of, unit_found
from collector.survey.timing import recommended_timing
from collector.survey.units import parse_units


def verdict(
    unit: int,
    outcome: Outcome = Outcome.ANSWERED,
    *,
    at_s: float = 0.0,
    request: bytes = b"one",
    answer_bytes: int = 7,
    turn_around_s: float | None = None,
    heard: tuple[AnswerHeard, ...] = (),
    foreign: tuple[HeardRequest, ...] = (),
) -> Verdict:
    return Verdict(
        unit=unit,
        request=request,
        request_ends_s=at_s,
        outcome=outcome,
        answer_bytes=answer_bytes,
        bytes_heard=0 if outcome is Outcome.SILENT else 7,
        turn_around_s=turn_around_s,
        heard=heard,
        foreign=foreign,
    )


DAMAGED, SILENT, REFUSED, ANSWERED = Outcome.DAMAGED, Outcome.SILENT, Outcome.REFUSED, Outcome.ANSWERED


def test_who_refuses_answers_and_who_is_silent_does_not() -> None:
    counts = counts_of([verdict(1), verdict(2, REFUSED), verdict(3, SILENT)], setting="", timeout_s=0.5)
    assert (counts.units_asked, counts.answering, counts.refusing) == (3, (1, 2), (2,))


@pytest.mark.parametrize(
    ("outcomes", "garbled"),
    [
        ([DAMAGED], ()),
        ([DAMAGED, DAMAGED], (1,)),
        ([DAMAGED, DAMAGED, ANSWERED], (1,)),
        ([DAMAGED, DAMAGED, ANSWERED, REFUSED], ()),
    ],
)
def test_who_is_mostly_damaged_is_garbled(outcomes: list[Outcome], garbled: tuple[int, ...]) -> None:
    verdicts = [verdict(1, outcome) for outcome in outcomes]
    assert counts_of(verdicts, setting="", timeout_s=0.5).garbled == garbled


def at_requests(*outcomes: tuple[bytes, Outcome]) -> list[Verdict]:
    return [verdict(1, outcome, request=request) for request, outcome in outcomes for _ in range(2)]


def test_damage_always_at_the_same_requests_is_garbled_too() -> None:
    sound = [verdict(1, request=b"sound") for _ in range(20)]
    twins = [*sound, *at_requests((b"a", DAMAGED), (b"b", DAMAGED))]
    assert counts_of(twins, setting="", timeout_s=0.5).garbled == (1,)


@pytest.mark.parametrize(("times", "garbled"), [(4, ()), (5, (1,))])
def test_one_request_that_is_damaged_each_time_is_garbled_when_that_is_no_chance(
    times: int, garbled: tuple[int, ...]
) -> None:
    sound = [verdict(1, request=b"sound") for _ in range(20)]
    damaged = [verdict(1, DAMAGED, request=b"a") for _ in range(times)]
    assert counts_of([*sound, *damaged], setting="", timeout_s=0.5).garbled == garbled


def test_damage_now_here_now_there_is_a_bad_wire() -> None:
    sound = [verdict(1, request=request) for request in (b"a", b"b") for _ in range(10)]
    wire = [*sound, *at_requests((b"a", DAMAGED), (b"b", DAMAGED))]
    counts = counts_of(wire, setting="", timeout_s=0.5)
    assert (counts.garbled, counts.short.damaged) == ((), 4)


def test_short_and_long_answers_are_counted_apart() -> None:
    lengths = [(7, ANSWERED), (19, ANSWERED), (20, ANSWERED), (133, DAMAGED)]
    verdicts = [verdict(1, outcome, answer_bytes=length) for length, outcome in lengths]
    counts = counts_of(verdicts, setting="", timeout_s=0.5)
    assert (counts.short.sound, counts.long.sound, counts.long.damaged) == (2, 1, 1)


def test_a_doubled_address_is_left_out_of_the_damage_of_the_line() -> None:
    request = bytes((1, 3, 0, 0, 0, 1))
    two = tuple(AnswerHeard(unit=1, shape=(3, 2), begins_s=begins_s) for begins_s in (0.01, 0.06))
    verdicts = [verdict(1, request=request, heard=two), verdict(1, DAMAGED), verdict(2)]
    counts = counts_of(verdicts, setting="", timeout_s=0.5)
    assert (counts.twice, counts.short.sound, counts.short.damaged) == ((1,), 1, 0)


@pytest.mark.parametrize(
    ("requests", "losing"),
    [
        ([(b"a", ANSWERED), (b"a", SILENT), (b"b", SILENT), (b"b", REFUSED)], ((1, (2, 4)),)),
        ([(b"a", ANSWERED), (b"a", SILENT)], ()),
        ([(b"a", ANSWERED), (b"b", SILENT), (b"b", SILENT)], ()),
    ],
    ids=["now answered, now not", "once", "a read that it does not know"],
)
def test_missing_answers_are_those_to_reads_that_were_answered_at_another_time(
    requests: list[tuple[bytes, Outcome]], losing: tuple[object, ...]
) -> None:
    verdicts = [verdict(1, outcome, request=request) for request, outcome in requests]
    assert counts_of(verdicts, setting="", timeout_s=0.5).losing == losing


def test_who_loses_answers_is_not_told_to_refuse_all() -> None:
    verdicts = [verdict(1, outcome) for outcome in (REFUSED, SILENT, REFUSED, SILENT)]
    counts = counts_of(verdicts, setting="", timeout_s=0.5)
    assert (counts.refusing, len(counts.losing)) == ((), 1)


def test_each_kind_of_foreign_write_is_told_once_and_every_foreign_request_is_counted() -> None:
    write, read = HeardRequest(9, 16), HeardRequest(9, 3)
    verdicts = [verdict(1, SILENT, foreign=(write, read)), verdict(2, SILENT, foreign=(write,))]
    counts = counts_of(verdicts, setting="", timeout_s=0.5)
    assert (counts.foreign_requests, counts.foreign_writes) == (3, ((16, 9),))


def test_the_times_of_a_unit_are_its_own() -> None:
    times_s = [0.01 * place for place in range(1, 21)]
    verdicts = [verdict(1, turn_around_s=time_s) for time_s in times_s] + [verdict(2, turn_around_s=9.0)]
    found = unit_found(verdicts, 1, identification={}, read=None, late_s=None)
    assert (found.requests, found.answers) == (20, 20)
    assert found.turn_around_p50_s == pytest.approx(0.105)
    assert found.turn_around_p95_s == pytest.approx(0.19)
    assert found.slowest_s == pytest.approx(0.2)


def test_where_another_units_late_answer_came_there_was_none() -> None:
    late = (AnswerHeard(unit=2, shape=(3, 2), begins_s=0.1),)
    verdicts = [verdict(1, DAMAGED, heard=late), verdict(1, DAMAGED), verdict(1, SILENT), verdict(1)]
    found = unit_found(verdicts, 1, identification={}, read=None, late_s=None)
    assert (found.requests, found.answers, found.no_answers, found.damaged) == (4, 1, 2, 1)


def unit(slowest_s: float | None, late_s: float | None = None) -> UnitFound:
    return unit_found([verdict(1, turn_around_s=slowest_s)], 1, identification={}, read=None, late_s=late_s)


@pytest.mark.parametrize(
    ("units", "timing"),
    [
        ([], None),
        ([unit(None)], None),
        ([unit(0.006)], Timing(timeout_s=0.2, late_reply_s=1.0)),
        ([unit(0.006), unit(0.1)], Timing(timeout_s=0.4, late_reply_s=1.0)),
        ([unit(0.06)], Timing(timeout_s=0.3, late_reply_s=1.0)),
        ([unit(0.1, late_s=0.9)], Timing(timeout_s=2.8, late_reply_s=2.8)),
        ([unit(30.0)], Timing(timeout_s=60.0, late_reply_s=60.0)),
    ],
)
def test_the_waits_follow_the_slowest_unit(units: list[UnitFound], timing: Timing | None) -> None:
    assert recommended_timing(units) == timing


@pytest.mark.parametrize(
    ("words", "units"),
    [("1-3", (1, 2, 3)), ("11", (11,)), ("5, 1-2,2", (1, 2, 5)), ("247", (247,)), (" 9 - 10 ", (9, 10))],
)
def test_units_are_read_as_people_write_them(words: str, units: tuple[int, ...]) -> None:
    assert parse_units(words) == units


@pytest.mark.parametrize("words", ["", "0", "248", "5-1", "1-", "a", "1;2", "1-300", "-1"])
def test_units_that_cannot_be_are_refused_in_one_line(words: str) -> None:
    with pytest.raises(ValueError, match='units are written as "1-247"') as caught:
        parse_units(words)
    assert "\n" not in str(caught.value)


def test_a_network_host_may_have_the_numbers_that_a_line_reserves() -> None:
    assert parse_units("0,255", is_network=True) == (0, 255)
