"""Each trouble of a line has its own sentence, and a sound line has none."""

from __future__ import annotations

from dataclasses import replace

import pytest

from collector.survey.counts import LineCounts, Tally
from collector.survey.wiring import TroubleKind, troubles_of

SOUND = LineCounts(
    setting="19200 8E1", units_asked=247, answering=(1, 5), short=Tally(sound=40), long=Tally(sound=20)
)
NOBODY = LineCounts(setting="19200 8E1", units_asked=247)
KINDS = TroubleKind


def kinds(counts: LineCounts) -> list[TroubleKind]:
    return [trouble.kind for trouble in troubles_of(counts)]


def words(counts: LineCounts) -> str:
    (trouble,) = troubles_of(counts)
    return trouble.words


def test_a_sound_line_has_no_trouble() -> None:
    assert kinds(SOUND) == []


def test_a_survey_that_asked_nobody_says_nothing() -> None:
    assert kinds(LineCounts(setting="19200 8E1")) == []


@pytest.mark.parametrize(
    "part",
    [
        "247 addresses at 19200 8E1",
        "switched on",
        "wrong way round",
        "baud rate or the parity",
        "common wire",
    ],
)
def test_silence_names_what_to_look_at_in_order(part: str) -> None:
    assert kinds(NOBODY) == [KINDS.NOTHING_ANSWERS]
    assert part in words(NOBODY)


def test_a_few_stray_bytes_are_still_silence() -> None:
    counts = replace(NOBODY, bytes_heard=3)
    assert kinds(counts) == [KINDS.NOTHING_ANSWERS]
    assert words(counts).startswith("Nothing but 3 stray bytes")


def test_on_the_network_silence_points_to_the_number_and_the_gateway() -> None:
    counts = LineCounts(units_asked=247)
    assert "unit number" in words(counts)
    assert "wrong way round" not in words(counts)


def test_a_gateway_that_reaches_nobody_is_sent_to_its_serial_side() -> None:
    counts = LineCounts(units_asked=3, no_paths=3)
    assert kinds(counts) == [KINDS.GATEWAY_ALONE]
    assert "serial side" in words(counts)


def test_bytes_without_a_sound_answer_point_to_the_setting_first() -> None:
    counts = replace(NOBODY, garbled=(1, 5), bytes_heard=90)
    assert kinds(counts) == [KINDS.NO_GOOD_FRAME]
    assert words(counts).index("baud rate") < words(counts).index("termination")


def test_one_garbled_address_among_silent_ones_may_be_two_drives() -> None:
    assert kinds(replace(NOBODY, garbled=(5,), bytes_heard=20)) == [
        KINDS.NO_GOOD_FRAME,
        KINDS.ONE_ADDRESS_TWICE,
    ]


def test_one_garbled_address_that_alone_was_asked_is_not_called_doubled() -> None:
    counts = LineCounts(setting="19200 8E1", units_asked=1, garbled=(5,), bytes_heard=20)
    assert kinds(counts) == [KINDS.NO_GOOD_FRAME]


def test_a_garbled_address_beside_sound_ones_may_be_two_drives() -> None:
    counts = replace(SOUND, garbled=(7,))
    assert kinds(counts) == [KINDS.ONE_ADDRESS_TWICE]
    assert "unit 7" in words(counts)


def test_where_all_are_damaged_a_garbled_address_is_no_sign_of_two_drives() -> None:
    """Noise alone garbles an address at which nobody is; it is named, without a cause that nobody knows."""
    counts = replace(SOUND, garbled=(13,), short=Tally(sound=30, damaged=10), long=Tally(sound=15, damaged=5))
    assert kinds(counts) == [KINDS.FRAMES_DAMAGED]
    assert "Of unit 13 hardly anything else came: ask again once the others are sound" in words(counts)
    assert "Of unit" not in words(replace(counts, garbled=()))


def test_two_sound_answers_to_one_request_are_told_on_a_noisy_line_too() -> None:
    counts = replace(SOUND, twice=(5,), short=Tally(sound=30, damaged=10))
    assert kinds(counts) == [KINDS.ONE_ADDRESS_TWICE, KINDS.FRAMES_DAMAGED]


def test_two_answers_are_two_drives_of_one_address() -> None:
    counts = replace(SOUND, twice=(5,))
    assert kinds(counts) == [KINDS.ONE_ADDRESS_TWICE]
    assert "Two answers came to one request (unit 5)" in words(counts)


@pytest.mark.parametrize(
    ("short", "long", "expected"),
    [
        (Tally(sound=40), Tally(sound=18, damaged=2), [KINDS.LONG_FRAMES_DAMAGED]),
        (Tally(sound=40), Tally(sound=19, damaged=1), []),
        (Tally(sound=40), Tally(sound=98, damaged=2), []),
        (Tally(sound=37, damaged=3), Tally(sound=15, damaged=5), [KINDS.LONG_FRAMES_DAMAGED]),
        (Tally(sound=30, damaged=10), Tally(sound=15, damaged=5), [KINDS.FRAMES_DAMAGED]),
        (Tally(sound=38, damaged=2), Tally(sound=20), [KINDS.FRAMES_DAMAGED]),
        (Tally(sound=39, damaged=1), Tally(sound=20), []),
    ],
)
def test_damage_is_told_by_where_it_falls(short: Tally, long: Tally, expected: list[TroubleKind]) -> None:
    assert kinds(replace(SOUND, short=short, long=long)) == expected


def test_damage_on_long_frames_points_to_termination() -> None:
    counts = replace(SOUND, long=Tally(sound=10, damaged=10))
    assert "10 of 20" in words(counts)
    assert "termination" in words(counts)
    assert "reflections" in words(counts)


def test_an_echo_is_told_also_where_all_else_is_well() -> None:
    counts = replace(SOUND, echoes=12)
    assert kinds(counts) == [KINDS.OWN_ECHO]
    assert "12 times" in words(counts)


def test_an_echo_and_nobody_are_two_troubles() -> None:
    assert kinds(replace(NOBODY, echoes=247)) == [KINDS.OWN_ECHO, KINDS.NOTHING_ANSWERS]


def test_refusals_alone_say_that_the_wires_are_right() -> None:
    counts = replace(SOUND, refusing=(5,))
    assert kinds(counts) == [KINDS.REFUSALS_ONLY]
    assert words(counts).startswith(
        "Unit 5 refused the holding and the input registers 0, 1, 10, 100, 200, 1000 and 2000 (counted from "
        "0): the wires are right"
    )


def test_late_answers_say_how_late_and_how_far_to_raise_which_option() -> None:
    counts = replace(SOUND, late=((7, 0.82), (9, 0.6)), timeout_s=0.5)
    assert kinds(counts) == [KINDS.LATE_ANSWERS]
    assert words(counts).startswith(
        "Unit 7 answers late (820 ms), unit 9 answers late (600 ms), after the time-out of 500 ms: raise "
        "--timeout to 1.7 s or more"
    )


def test_answers_that_are_missing_now_and_then_are_counted_and_others_may_have_been_missed() -> None:
    counts = replace(SOUND, losing=((3, (10, 21)),))
    assert kinds(counts) == [KINDS.ANSWERS_MISSING]
    assert "(unit 3: 10 of 21)" in words(counts)
    assert "--thorough" in words(counts)


def test_another_masters_writes_are_named_by_function_and_unit() -> None:
    counts = replace(SOUND, foreign_requests=9, foreign_writes=((6, 0), (16, 9)))
    assert "It also writes (function 6 to everybody, function 16 to unit 9)" in words(counts)
    assert "writes" not in words(replace(SOUND, foreign_requests=9))


@pytest.mark.parametrize(("requests", "expected"), [(0, []), (1, []), (2, [KINDS.ANOTHER_MASTER])])
def test_another_master_is_told_when_it_is_no_chance(requests: int, expected: list[TroubleKind]) -> None:
    assert kinds(replace(SOUND, foreign_requests=requests)) == expected


def test_many_units_are_named_short() -> None:
    counts = replace(SOUND, refusing=tuple(range(1, 31)))
    assert "1, 2, 3, 4, 5, 6, 7, 8 and 22 more" in words(counts)
