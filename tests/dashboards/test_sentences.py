from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from api.analytics.finding import Kind
from dashboards.views import EvidenceNumber, LikelyCause
from dashboards.wording.sentences import (
    cause_sentence,
    change_words,
    effect_sentence,
    judged_sentence,
    manual_words,
    power_sentence,
    why_sentence,
)
from dashboards.wording.telling import next_steps


def said(invented: SimpleNamespace, kind: Kind, **more: Any) -> str:  # noqa: ANN401 - any field of a card
    card = invented.card(kind, **more)
    return effect_sentence(card, "Europe/Lisbon", invented.NOW_MS).replace("\u00a0", " ")


def test_a_head_loss_says_how_much_how_sure_and_since_when(invented: SimpleNamespace) -> None:
    size = "Head at the same flow and speed is 4.1 % (3.3 to 4.9 %) below this pump's own curve"
    assert said(invented, Kind.HEAD_LOSS) == f"{size} since 12 October."


def test_a_rise_is_said_as_a_rise(invented: SimpleNamespace) -> None:
    assert "6.1 % (5.0 to 7.2 %) above" in said(invented, Kind.POWER_SHIFT)


def test_an_interval_that_holds_zero_starts_at_zero(invented: SimpleNamespace) -> None:
    assert "(0 to 2.0 %)" in said(invented, Kind.HEAD_LOSS, effect=-0.01, effect_low=-0.02, effect_high=0.002)


def test_a_short_past_finding_says_from_when_to_when(invented: SimpleNamespace) -> None:
    first = invented.NOW_MS - 50 * invented.HOUR_MS
    words = said(
        invented,
        Kind.AIR_BINDING,
        state="returned_to_normal",
        first_utc_ms=first,
        last_utc_ms=first + 2 * invented.HOUR_MS,
    )
    assert words.endswith("from 19 October 13:00 to 19 October 15:00.")


def gas(invented: SimpleNamespace, episodes: float) -> str:
    seen = (EvidenceNumber(name="episodes", value=episodes),)
    first = invented.NOW_MS - invented.HOUR_MS
    return said(
        invented,
        Kind.AIR_BINDING,
        evidence=seen,
        effect=-0.39,
        effect_low=None,
        effect_high=None,
        first_utc_ms=first,
        last_utc_ms=first + 180_000,
    )


def test_how_long_it_lasted_is_told_without_the_title_before_it(
    invented: SimpleNamespace,
) -> None:
    facts = {"effect": 53.0, "effect_low": None, "effect_high": None, "effect_unit": "h"}
    assert said(invented, Kind.FROZEN_READING, **facts).startswith("For 2 days in all, since ")


def test_one_burst_of_gas_is_not_told_as_many(invented: SimpleNamespace) -> None:
    assert gas(invented, 1).startswith("In one burst of 3 min, head or power fell by 39 % since")


def test_of_many_bursts_the_count_and_the_strongest_are_told(invented: SimpleNamespace) -> None:
    assert gas(invented, 7).startswith("In 7 bursts, head or power fell by up to 39 % since")


@pytest.mark.parametrize(
    ("effect", "words"), [(-1.0, "but no water flows"), (-0.94, "but only 6 % of the usual flow is left")]
)
def test_a_closed_valve_says_no_flow_and_not_a_hundred_percent_less(
    invented: SimpleNamespace, effect: float, words: str
) -> None:
    assert words in said(invented, Kind.CLOSED_DISCHARGE, effect=effect, effect_low=None, effect_high=None)


@pytest.mark.parametrize(
    ("looks_computed", "words"), [(1.0, "calls flow or head measured"), (0.0, "says that the drive computes")]
)
def test_a_doubt_of_what_is_measured_says_which_way(
    invented: SimpleNamespace, looks_computed: float, words: str
) -> None:
    cause = (LikelyCause(names=("provenance_contradicted",), weight=0.95),)
    seen = (EvidenceNumber(name="looks_computed", value=looks_computed),)
    assert words in why_sentence(invented.card(Kind.NOT_ASSESSABLE, causes=cause, evidence=seen))


def test_reading_a_manual_needs_no_caution_of_hot_water(invented: SimpleNamespace) -> None:
    card = invented.card(Kind.NOT_ASSESSABLE, checks=("declare_provenance",))
    assert not [step for step in next_steps(card) if step.startswith("Caution")]


def test_a_field_check_still_carries_it(invented: SimpleNamespace) -> None:
    card = invented.card(Kind.NOT_ASSESSABLE, checks=("make_field_check",))
    assert "may be hot" in next(next_steps(card))


def test_starts_are_told_beside_their_limit(invented: SimpleNamespace) -> None:
    limit = (EvidenceNumber(name="starts_limit_per_hour", value=6),)
    assert said(invented, Kind.REPEATED_STARTS, evidence=limit).startswith(
        "Up to 9 starts an hour (limit 6) since"
    )


@pytest.mark.parametrize(
    ("limit", "words"),
    [
        (20.0, "Up to 9 starts an hour, more than this pump's habit of 3.4 or fewer (limit 20) since"),
        (6.0, "Up to 9 starts an hour (limit 6) since"),
    ],
)
def test_starts_say_what_they_went_over(invented: SimpleNamespace, limit: float, words: str) -> None:
    beside = (
        EvidenceNumber(name="starts_limit_per_hour", value=limit),
        EvidenceNumber(name="starts_habit_per_hour", value=3.4),
    )
    assert said(invented, Kind.REPEATED_STARTS, evidence=beside).startswith(words)


def test_a_pump_that_never_used_to_start_has_a_habit_of_none(invented: SimpleNamespace) -> None:
    beside = (
        EvidenceNumber(name="starts_limit_per_hour", value=9.9),
        EvidenceNumber(name="starts_habit_per_hour", value=0.0),
    )
    words = "Up to 9 starts an hour, more than this pump's habit of none (limit 9.9) since"
    assert said(invented, Kind.REPEATED_STARTS, evidence=beside).startswith(words)


def test_a_fault_says_the_drives_own_code_and_its_meaning(invented: SimpleNamespace) -> None:
    words = "The drive reports fault code 4102 since 12 October. Its manual says: “Motor too hot”."
    assert said(invented, Kind.DRIVE_FAULT) == words


def test_a_fault_without_a_meaning_makes_none_up(invented: SimpleNamespace) -> None:
    words = "The drive reports fault code 4102 since 12 October."
    assert said(invented, Kind.DRIVE_FAULT, fault_meaning="") == words


@pytest.mark.parametrize("typed", ["Motor too hot\nClear the fan", " Motor too hot. \n Clear the fan. "])
def test_a_codes_meaning_and_its_check_are_told_apart(invented: SimpleNamespace, typed: str) -> None:
    words = manual_words(invented.card(Kind.DRIVE_FAULT, fault_meaning=typed))
    assert (words.meaning, words.check) == ("Motor too hot", "Clear the fan")


def test_brackets_in_a_meaning_are_not_taken_for_a_check(invented: SimpleNamespace) -> None:
    words = manual_words(invented.card(Kind.DRIVE_FAULT, fault_meaning="Motor too hot (thermistor)"))
    assert (words.meaning, words.check) == ("Motor too hot (thermistor)", "")


@pytest.mark.parametrize(("meaning", "why"), [("Motor too hot", ""), ("", "is said in the drive's manual.")])
def test_the_manual_is_named_as_the_cause_only_while_its_meaning_is_not_told(
    invented: SimpleNamespace, meaning: str, why: str
) -> None:
    manual = (LikelyCause(names=("as_the_drive_manual_says",), weight=1.0),)
    card = invented.card(Kind.DRIVE_FAULT, causes=manual, fault_meaning=meaning)
    assert why_sentence(card).endswith(why)
    assert bool(why_sentence(card)) is bool(why)


def test_recent_work_stays_a_cause_beside_a_known_meaning(invented: SimpleNamespace) -> None:
    work = LikelyCause(names=("left_by_recent_work",), weight=0.6)
    manual = LikelyCause(names=("as_the_drive_manual_says",), weight=0.4)
    card = invented.card(Kind.DRIVE_FAULT, causes=(work, manual))
    assert why_sentence(card) == cause_sentence((work, manual))


def test_not_assessable_says_how_much_is_not(invented: SimpleNamespace) -> None:
    assert said(invented, Kind.NOT_ASSESSABLE, assessable_share=0.0).startswith("Wear can't be judged since")
    assert "in 30 % of running hours" in said(invented, Kind.NOT_ASSESSABLE, assessable_share=0.7)


@pytest.mark.parametrize("kind", list(Kind))
@pytest.mark.parametrize("unit", ["fraction", "1/h", "rpm", "h", "1", "mystery"])
@pytest.mark.parametrize("effect", [None, -0.2, 3.0])
def test_every_kind_makes_a_sentence_of_any_effect(
    invented: SimpleNamespace, kind: Kind, unit: str, effect: float | None
) -> None:
    words = said(invented, kind, effect=effect, effect_low=None, effect_high=None, effect_unit=unit)
    assert words[0].isupper()
    assert words.endswith(".")
    assert "None" not in words


def test_causes_that_cannot_be_told_apart_are_said_to_be_so() -> None:
    words = cause_sentence((LikelyCause(names=("ring_leakage", "impeller_wear"), weight=0.86),))
    assert "leakage past the wearing ring or impeller wear" in words
    assert "not to be told apart from here" in words


@pytest.mark.parametrize(("weight", "start"), [(0.79, "Possibly"), (0.8, "Likely")])
def test_a_cause_is_called_likely_only_from_its_limit_on(weight: float, start: str) -> None:
    assert cause_sentence((LikelyCause(names=("valve_closed",), weight=weight),)).startswith(start)


def test_without_a_cause_none_is_made_up() -> None:
    assert cause_sentence(()) == "The cause can't be told from these readings."


def test_the_reason_for_silence_leads_to_a_field_check() -> None:
    words = cause_sentence((LikelyCause(names=("estimated_flow_or_head",), weight=1.0),))
    assert "wear can't show" in words
    assert "field check" in words


def test_an_unknown_share_is_not_told() -> None:
    assert judged_sentence(None) == ""
    assert judged_sentence(0.91).replace("\u00a0", " ") == "91 % of running hours could be judged."


@pytest.mark.parametrize(("now", "before"), [(None, 1.0), (1.0, None), (1.0, 0.0)])
def test_a_change_that_cannot_be_said_is_not_said(now: float | None, before: float | None) -> None:
    assert change_words(now, before) == ""


RING = LikelyCause(names=("ring_leakage", "flow_meter_reads_low"), weight=0.99996)


def power_words(invented: SimpleNamespace, cause: LikelyCause, kind: Kind = Kind.HEAD_LOSS) -> str:
    evidence = (EvidenceNumber(name="power_residual_fraction", value=0.022),)
    card = invented.card(kind, causes=(cause,), evidence=evidence)
    return power_sentence(card).replace("\u00a0", " ")


def test_power_agrees_where_a_cause_is_likely_and_is_only_told_where_none_is(
    invented: SimpleNamespace,
) -> None:
    unsure = LikelyCause(names=("impeller_wear",), weight=0.5)
    unknown = LikelyCause(names=("not_in_learned_causes",), weight=0.95)
    assert power_words(invented, RING) == "Power agrees (+2.2 % against its own curve)."
    assert power_words(invented, unsure) == "Power is +2.2 % against its own curve."
    assert power_words(invented, unknown) == "Power is +2.2 % against its own curve."


def test_power_is_told_beside_a_loss_of_head_alone(invented: SimpleNamespace) -> None:
    assert power_words(invented, RING, Kind.POWER_SHIFT) == ""
    assert power_sentence(invented.card(Kind.HEAD_LOSS, evidence=())) == ""


def test_no_cause_is_ever_called_certain() -> None:
    words = cause_sentence((RING,)).replace("\u00a0", " ")
    assert "more than 99 %" in words
    assert "100 %" not in words
