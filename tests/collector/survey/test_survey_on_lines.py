"""Surveys of simulated lines in worked-out time; once through a real pseudo-terminal, and where it is lost.

In worked-out time nothing depends on how busy the machine is, and parity is looked at; on a pseudo-terminal
everything shows but parity, which Linux drops there.
"""

from __future__ import annotations

import threading

import pytest

from collector.bus.line_setting import parse_line_setting, silence_s
from collector.survey import SettingSurvey, SurveyPlan, TroubleKind, survey
from simulator.drives import Drive
from simulator.lines import BadWire, Disturbance, ForeignMaster, PortWiring, SharedLine, running
from simulator.lines.terminal_end import TerminalEnd
from tests.collector.survey.surveyed import (
    QUICK,
    drive,
    line_of,
    serial_bus,
    surveyed,
    wide_drive,
)
from tests.collector.survey.worked_out import WorkedOut


def kinds(seen: SettingSurvey) -> set[TroubleKind]:
    return {trouble.kind for trouble in seen.troubles}


def found(seen: SettingSurvey) -> list[int]:
    return [unit.unit for unit in seen.found]


@pytest.fixture
def worked_out(monkeypatch: pytest.MonkeyPatch) -> WorkedOut:
    return WorkedOut(monkeypatch)


def two_drives(**line: object) -> SharedLine:
    return line_of(drive(1), drive(5, "B", turn_around_s=0.03), **line)


@pytest.fixture(scope="module")
def sound() -> tuple[SharedLine, SettingSurvey]:
    line = two_drives()
    return line, surveyed(line, units=(1, 2, 3, 5), timeout_s=0.3, rounds=4)


def test_those_on_the_line_are_found_and_nobody_else(sound: tuple[SharedLine, SettingSurvey]) -> None:
    _, seen = sound
    assert (found(seen), seen.units_asked, seen.is_complete, kinds(seen)) == ([1, 5], 4, True, set())


def test_they_say_who_they_are(sound: tuple[SharedLine, SettingSurvey]) -> None:
    line, seen = sound
    told = {unit.unit: unit.identification for unit in seen.found}
    assert told == {each.unit_id: dict(enumerate(each.map.identification)) for each in line.drives}


def test_a_place_with_data_is_found_in_either_table(sound: tuple[SharedLine, SettingSurvey]) -> None:
    line, seen = sound
    for unit, true in zip(seen.found, line.drives, strict=True):
        assert unit.read is not None
        table, address, count = unit.read
        assert all((table, address + place) in true.image for place in range(count))


def test_a_turn_around_is_never_told_too_short(sound: tuple[SharedLine, SettingSurvey]) -> None:
    """A drive begins to count when t3.5 of silence has passed; a busy machine only ever adds to it."""
    line, seen = sound
    for unit, true in zip(seen.found, line.drives, strict=True):
        assert unit.turn_around_p50_s is not None
        assert unit.turn_around_p50_s >= true.turn_around_s + silence_s(QUICK.baud) - 0.002
        assert unit.turn_around_p50_s <= (unit.turn_around_p95_s or 0.0) <= (unit.slowest_s or 0.0)


def test_the_slower_drive_is_told_from_the_quicker(sound: tuple[SharedLine, SettingSurvey]) -> None:
    quick, slow = (unit.turn_around_p50_s or 0.0 for unit in sound[1].found)
    assert slow > quick + 0.015


def test_every_request_of_a_found_unit_is_accounted_for(sound: tuple[SharedLine, SettingSurvey]) -> None:
    line, seen = sound
    for unit, true in zip(seen.found, line.drives, strict=True):
        assert unit.requests == unit.answers + unit.exceptions + unit.no_answers + unit.damaged
        assert unit.requests == true.asked.total()


def test_nothing_but_reads_reaches_a_drive(sound: tuple[SharedLine, SettingSurvey]) -> None:
    """Counted at the far end, by the drives themselves, and in all that was said on the line."""
    line, _ = sound
    assert {function for each in line.drives for function in each.asked} == {3, 4, 43}
    assert {exchange.request.data[1] for exchange in line.exchanges} == {3, 4, 43}


def test_exceptions_count_as_answers(worked_out: WorkedOut) -> None:
    mute = drive(3)
    mute.image = {}
    seen = worked_out.surveyed(line_of(mute), units=range(1, 5))
    assert (found(seen), kinds(seen)) == ([3], {TroubleKind.REFUSALS_ONLY})
    assert (seen.found[0].read, seen.found[0].exceptions > 10) == (None, True)


@pytest.mark.parametrize(
    ("line", "setting"),
    [
        (line_of(), "115200 8E1"),
        (two_drives(port=PortWiring(is_swapped=True)), "115200 8E1"),
        (two_drives(), "9600 8E1"),
    ],
    ids=["nobody on the line", "swapped wires", "another baud rate"],
)
def test_silence_has_its_sentence(line: SharedLine, setting: str, worked_out: WorkedOut) -> None:
    seen = worked_out.surveyed(line, units=range(1, 6), setting=parse_line_setting(setting))
    assert (found(seen), kinds(seen), seen.timing) == ([], {TroubleKind.NOTHING_ANSWERS}, None)


def test_the_wrong_parity_is_silence_and_the_right_one_finds_all(worked_out: WorkedOut) -> None:
    wrong, right = worked_out.surveyed_at(
        line_of(drive(1), setting=parse_line_setting("19200 8O1")),
        [parse_line_setting("19200 8E1"), parse_line_setting("19200 8O1")],
        SurveyPlan(units=(1, 2), timeout_s=0.15, rounds=1),
    )
    assert (found(wrong), kinds(wrong)) == ([], {TroubleKind.NOTHING_ANSWERS})
    assert (found(right), kinds(right)) == ([1], set())


def test_damage_alone_has_its_sentence(worked_out: WorkedOut) -> None:
    seen = worked_out.surveyed(two_drives(disturbance=Disturbance(damaged_byte=1.0)), units=range(1, 6))
    assert (found(seen), seen.garbled, kinds(seen)) == ([], (1, 5), {TroubleKind.NO_GOOD_FRAME})


def test_an_echo_has_its_sentence_and_hides_nobody(worked_out: WorkedOut) -> None:
    seen = worked_out.surveyed(line_of(drive(2), port=PortWiring(echo=True)), units=range(1, 4))
    assert (found(seen), kinds(seen)) == ([2], {TroubleKind.OWN_ECHO})


def test_damage_on_long_answers_has_its_sentence(worked_out: WorkedOut) -> None:
    line = line_of(wide_drive(2), wire=BadWire(damaged_bytes=0.003), seed=8)
    seen = worked_out.surveyed(line, units=(2,), rounds=8)
    assert kinds(seen) == {TroubleKind.LONG_FRAMES_DAMAGED}


def test_answers_that_are_lost_on_the_way_have_their_sentence(worked_out: WorkedOut) -> None:
    line = line_of(drive(2), disturbance=Disturbance(silence=0.3), seed=5)
    seen = worked_out.surveyed(line, units=(2,), rounds=8)
    (trouble,) = seen.troubles
    unit = seen.found[0]
    assert trouble.kind is TroubleKind.ANSWERS_MISSING
    assert f"unit 2: {unit.no_answers} of {unit.requests}" in trouble.words


def twin(turn_around_s: float, power_w: float) -> Drive:
    made = drive(3, turn_around_s=turn_around_s)
    made.show({"speed_rpm": 2000.0 + power_w, "power_w": power_w, "flow_m3h": power_w / 50, "head_m": 8.0})
    return made


def test_two_drives_of_one_address_that_answer_one_after_the_other_have_their_sentence(
    worked_out: WorkedOut,
) -> None:
    seen = worked_out.surveyed(line_of(twin(0.004, 1180.0), twin(0.06, 655.0), drive(1)), units=range(1, 5))
    assert found(seen) == [1, 3]
    (trouble,) = seen.troubles
    assert trouble.kind is TroubleKind.ONE_ADDRESS_TWICE
    assert "Two answers came to one request (unit 3)" in trouble.words


def test_two_drives_of_one_address_that_answer_at_one_time_have_their_sentence(worked_out: WorkedOut) -> None:
    other = drive(3, "B")
    seen = worked_out.surveyed(line_of(drive(3), other, drive(1)), units=range(1, 5), rounds=4)
    assert TroubleKind.ONE_ADDRESS_TWICE in kinds(seen)
    assert any("unit 3 are garbled" in trouble.words for trouble in seen.troubles)


def test_a_late_drive_is_found_and_the_wait_that_it_needs_is_told(worked_out: WorkedOut) -> None:
    slow = drive(1)
    slow.image = {("holding", place): place for place in (0, 1, 10)}
    line = line_of(slow, disturbance=Disturbance(late=1.0, late_s=0.22))
    seen = worked_out.surveyed(line, units=(1, 2, 3), rounds=1)
    assert (found(seen), kinds(seen)) == ([1], {TroubleKind.LATE_ANSWERS})
    assert seen.found[0].late_s is not None
    assert seen.found[0].late_s > 0.2
    assert seen.timing is not None
    assert seen.timing.timeout_s > 3 * 0.22


def slow_drive(unit: int) -> Drive:
    made = drive(unit)
    made.image = {("holding", place): place for place in (0, 1, 10)}
    return made


@pytest.mark.parametrize("is_thorough", [False, True])
@pytest.mark.parametrize("share", [0.3, 1.0])
@pytest.mark.parametrize("late_s", [0.16, 0.19, 0.22, 0.28, 0.35, 0.45, 0.6, 1.0])
def test_a_drive_that_is_late_always_or_now_and_then_is_never_taken_for_two(
    late_s: float, share: float, is_thorough: bool, worked_out: WorkedOut
) -> None:
    """It works its requests off one by one, so where it is asked three times, the third is late thrice."""
    line = line_of(slow_drive(2), drive(5), disturbance=Disturbance(late=share, late_s=late_s), seed=3)
    seen = worked_out.surveyed(line, units=range(1, 12), rounds=3, is_thorough=is_thorough)
    assert kinds(seen) == {TroubleKind.LATE_ANSWERS}
    for unit in seen.found:
        assert unit.late_s is None or late_s <= unit.late_s <= 3 * (late_s + 0.01)


@pytest.mark.parametrize("units", [(7,), (6, 7)])
def test_a_late_drive_at_the_last_address_is_found_too(units: tuple[int, ...], worked_out: WorkedOut) -> None:
    line = line_of(slow_drive(7), disturbance=Disturbance(late=1.0, late_s=0.22))
    seen = worked_out.surveyed(line, units=units, rounds=1)
    assert (found(seen), kinds(seen)) == ([7], {TroubleKind.LATE_ANSWERS})


@pytest.mark.parametrize(
    "second_s", [0.004, 0.0042, 0.0044, 0.0046, 0.0048, 0.005, 0.006, 0.009, 0.06, 0.12, 0.2, 0.25]
)
def test_two_drives_of_one_address_are_never_taken_for_a_late_one(
    second_s: float, worked_out: WorkedOut
) -> None:
    """At one moment, overlapping, close behind, and after the time-out of 0.15 s in the next unit's turn."""
    line = line_of(twin(0.004, 1180.0), twin(second_s, 655.0), drive(1))
    seen = worked_out.surveyed(line, units=range(1, 6), rounds=10)
    assert TroubleKind.ONE_ADDRESS_TWICE in kinds(seen)
    assert TroubleKind.LATE_ANSWERS not in kinds(seen)


def test_a_master_that_only_writes_is_heard_and_its_writes_are_named(worked_out: WorkedOut) -> None:
    write = (9, bytes.fromhex("06 00 28 00 01"))
    master = ForeignMaster(others=[write], every_s=0.1, first_s=0.2)
    line = line_of(drive(1), drive(9), masters=[master])
    seen = worked_out.surveyed(line, units=range(20, 60), timeout_s=0.25)
    (trouble,) = [each for each in seen.troubles if each.kind is TroubleKind.ANOTHER_MASTER]
    assert "It also writes (function 6 to unit 9)" in trouble.words


def test_who_does_not_know_the_first_question_is_found_when_thoroughly_looked_for(
    worked_out: WorkedOut,
) -> None:
    shy = line_of(ShyDrive(4))
    assert found(worked_out.surveyed(shy, units=(4, 5))) == []
    assert found(worked_out.surveyed(line_of(ShyDrive(4)), units=(4, 5), is_thorough=True)) == [4]


class ShyDrive(Drive):
    """It knows input registers, and leaves the rest unanswered instead of refusing it."""

    def __init__(self, unit: int) -> None:
        made = drive(unit)
        super().__init__(unit, made.map)
        self.image = {("input", place): place for place in range(10)}

    def answer_bytes(self, pdu: bytes, transaction_id: int = 0):  # type: ignore[no-untyped-def]  # noqa: ANN201
        return super().answer_bytes(pdu, transaction_id) if pdu[0] == 4 else None


@pytest.mark.parametrize("at", ["asking unit 4", "timing unit 1"])
def test_stopping_gives_what_was_found_so_far_within_one_time_out(at: str, worked_out: WorkedOut) -> None:
    worked_out.stops_at = at
    seen = worked_out.surveyed(line_of(drive(1), drive(2)), units=range(1, 8), timeout_s=0.15)
    assert (found(seen), seen.is_complete) == ([1, 2], False)
    assert worked_out.clock.now_s - worked_out.stopped_s <= 0.15 + 0.01


def test_once_stopped_nobody_is_asked_any_more(worked_out: WorkedOut) -> None:
    worked_out.stops_at = "timing unit 1"
    line = line_of(slow_drive(1), disturbance=Disturbance(late=1.0, late_s=1.0))
    worked_out.surveyed(line, units=range(1, 18), timeout_s=0.15)
    assert worked_out.stopped_s > 0
    assert line.exchanges[-1].request.begins_s < worked_out.stopped_s


def test_a_master_that_wakes_up_meanwhile_ends_all_asking(worked_out: WorkedOut) -> None:
    master = ForeignMaster(reads=[(9, 3, 10, 3)], every_s=0.1, first_s=0.6)
    line = line_of(drive(1), drive(9), masters=[master])
    seen = worked_out.surveyed(line, units=range(1, 61), timeout_s=0.25)
    assert (kinds(seen) >= {TroubleKind.ANOTHER_MASTER}, seen.is_complete) == (True, False)
    assert seen.units_asked < 20


def test_a_lost_port_gives_what_was_found_so_far_and_says_so() -> None:
    line, end = line_of(drive(1)), TerminalEnd()
    plan = SurveyPlan(units=(1, 2, 3, 4), timeout_s=0.15, rounds=1)
    with running(line, end) as live:

        def pull_out(words: str) -> None:
            if "unit 3" in words:
                live.stop()
                end.close()

        try:
            (seen,) = survey(
                serial_bus(end.port), [QUICK], plan, threading.Event(), lambda news: pull_out(news.words)
            )
        finally:
            end.close = lambda: None  # type: ignore[method-assign]
    assert (found(seen), seen.is_complete) == ([1], False)
    assert "the port was lost" in seen.link_trouble


def test_a_port_that_is_not_there_is_told_in_the_result() -> None:
    (seen,) = survey(serial_bus("/dev/no-such-adapter"), [QUICK], SurveyPlan(units=(1,)), threading.Event())
    assert (seen.units_asked, seen.is_complete) == (0, False)
    assert "there is no such port" in seen.link_trouble


def test_the_estimate_falls_to_nothing_and_counts_the_settings_to_come(worked_out: WorkedOut) -> None:
    plan = SurveyPlan(units=(1, 2, 3), timeout_s=0.1)
    worked_out.surveyed_at(line_of(), [QUICK, parse_line_setting("9600 8E1")], plan)
    left_s = [news.left_s for news in worked_out.news]
    assert left_s == sorted(left_s, reverse=True)
    assert left_s[0] == pytest.approx(6 * 0.1, rel=0.2)
    assert left_s[-1] == pytest.approx(0.1, rel=0.2)


def test_somebody_silent_is_asked_once_and_waited_for_one_time_out(worked_out: WorkedOut) -> None:
    """The last one twice, since its late answer would come in nobody's turn.

    On a machine that takes no time the survey takes what nobody can avoid: request, time-out and t3.5. What a
    real machine adds is shown by ``tests/bench_survey.py``.
    """
    line = line_of()
    worked_out.surveyed(line, units=range(1, 31), timeout_s=0.1)
    assert line.port_bytes_sent == 31 * 8
    unavoidable_s = 31 * (0.1 + 8 * QUICK.character_s + silence_s(QUICK.baud))
    assert unavoidable_s * 0.97 <= worked_out.clock.now_s <= unavoidable_s * 1.01
