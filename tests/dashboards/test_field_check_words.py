"""What a field check says in words: sizes with intervals, what stays open, nothing of wear from a drive."""

from __future__ import annotations

from dataclasses import replace

import pytest

from dashboards.field_check_views import BesideView, FieldCheckLine, FieldCheckView, LossView
from dashboards.wording.cautions import CAUTIONS
from dashboards.wording.field_check_fields import FIELDS
from dashboards.wording.field_checks import (
    AGREEMENTS,
    BY,
    CAUTIONS_OF_GAUGES,
    CAUTIONS_OF_SHUTOFF,
    assessed_words,
    beside_sentence,
    causes_sentence,
    loss_sentence,
    sentences,
)

S = "\N{NO-BREAK SPACE}"
LOSS = LossView(by="data_sheet", effect=-0.06, low=-0.09, high=-0.03, verdict="below")
BESIDE = BesideView(
    quantity="head_m",
    measured=10.0,
    low=9.8,
    high=10.2,
    drive=11.0,
    count=5,
    agreement="differs",
    declared="estimated",
)
VIEW = FieldCheckView(
    check_id=1,
    at_utc_ms=1_791_763_200_000,
    minutes=5,
    by_role="technician",
    note="",
    typed={},
    head_m=10.0,
    head_low_m=9.8,
    head_high_m=10.2,
    parts_m={},
    from_m={"gauge_error": 0.3, "gauge_reading": 0.4, "heights": 0.01},
    flow_m3h=16.0,
    flow_from="strap_on",
    speed_rpm=2900.0,
    unplaced="",
    losses=(LOSS,),
    causes=("ring_leakage", "impeller_wear"),
)


def test_an_assessment_is_one_phrase_with_its_day_and_interval() -> None:
    line = FieldCheckLine(at_utc_ms=1_791_763_200_000, effect=-0.06, low=-0.09, high=-0.03, by="data_sheet")
    said = assessed_words(line, "UTC", 1_793_000_000_000)
    assert (
        said == f"assessed by field check on 12{S}October: head −6{S}% (−9 to −3{S}%) against its data sheet"
    )
    later = assessed_words(replace(line, is_before_work=True), "UTC", 1_793_000_000_000)
    assert "12\N{NO-BREAK SPACE}October, before the latest work: head" in later


@pytest.mark.parametrize(
    ("by", "end"),
    [
        ("data_sheet", "it has lost head, or never had it."),
        ("earlier_check", "it has lost head."),
    ],
)
def test_only_a_data_sheet_leaves_open_that_the_pump_never_had_it(by: str, end: str) -> None:
    assert loss_sentence(replace(LOSS, by=by)).endswith(end)


def test_no_loss_says_what_would_not_be_seen() -> None:
    said = loss_sentence(replace(LOSS, effect=-0.01, low=-0.05, high=0.03, verdict="as_expected"))
    assert said.endswith(f"no loss is shown; one of up to 5{S}% would not be seen.")


def test_more_head_than_there_can_be_is_a_mistake_of_reading() -> None:
    said = loss_sentence(replace(LOSS, effect=0.2, low=0.1, high=0.3, verdict="above"))
    assert "read or typed wrong" in said


@pytest.mark.parametrize("agreement", sorted(set(AGREEMENTS) - {"agrees"}))
def test_a_drives_estimate_that_is_off_is_never_called_wear(agreement: str) -> None:
    said = beside_sentence(replace(BESIDE, agreement=agreement), "SI")
    assert "nothing of the pump's wear follows" in said
    assert "lost" not in said


@pytest.mark.parametrize(
    ("declared", "agreement", "words"),
    [
        ("measured", "agrees", "It is what the site file declares: measured head."),
        ("measured", "gain", "Declared as measured, it is not what is there"),
        ("estimated", "agrees", "go on fitting itself when the pump wears"),
        ("unknown", "agrees", "doesn't say whether it is measured"),
        ("unknown", "differs", "Don't declare this head as measured"),
    ],
)
def test_provenance_is_confirmed_or_put_in_doubt(declared: str, agreement: str, words: str) -> None:
    assert words in beside_sentence(replace(BESIDE, declared=declared, agreement=agreement), "SI")


def test_a_difference_is_told_in_the_readers_units() -> None:
    assert f"36.1{S}ft (mean of 5 readings)" in beside_sentence(BESIDE, "US")
    assert f"measured 32.8{S}ft" in beside_sentence(BESIDE, "US")


def test_a_speed_that_differs_is_a_question_of_time_not_of_the_drive() -> None:
    said = beside_sentence(replace(BESIDE, quantity="speed_rpm", measured=2900.0, drive=2700.0), "SI")
    assert said.endswith("Was it read in the same minutes?")
    assert "offset" not in said


def test_causes_not_told_apart_say_so() -> None:
    assert causes_sentence(VIEW).endswith("these are not told apart.")
    assert "told apart" not in causes_sentence(replace(VIEW, causes=("ring_leakage",)))
    assert causes_sentence(replace(VIEW, causes=())) == ""


def test_the_uncertainty_says_where_it_comes_from_largest_first() -> None:
    # By hand: 0.16 of 0.2501 and 0.09 of 0.2501; the heights' 0.0001 is not worth a word.
    first = sentences(VIEW, "SI")[0]
    assert f"reading the gauges 64{S}% and the gauges' own error 36{S}%." in first


def test_every_caution_every_reference_and_every_field_has_words() -> None:
    assert {*CAUTIONS_OF_GAUGES, *CAUTIONS_OF_SHUTOFF} <= set(CAUTIONS)
    assert set(BY) == {"earlier_check", "own_curve", "data_sheet"}
    assert all(words.label for words in FIELDS.values())
