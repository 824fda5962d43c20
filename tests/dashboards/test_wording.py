from __future__ import annotations

import pytest

from api.analytics.codes import CAUSES, CHECKS, EVIDENCE
from api.analytics.facts import Provenance
from api.analytics.finding import Kind, Priority
from collector.quantities import QUANTITY_NAMES
from collector.reading import Quality
from dashboards.wording import causes, cautions, checks, kinds, terms

TOUCHING = ("turn_shaft_by_hand", "compare_power_meter", "vent_casing", "check_strainer_pressure_drop")


@pytest.mark.parametrize("kind", list(Kind))
def test_every_kind_says_what_it_is_what_it_looks_like_and_what_to_check(kind: Kind) -> None:
    words = kinds.KINDS[kind.value]
    assert min(len(words.title), len(words.what), len(words.looks_like), len(words.checks)) > 0


@pytest.mark.parametrize("code", sorted(CAUSES))
def test_every_cause_has_words(code: str) -> None:
    assert code in causes.CAUSES or code in causes.REASONS


@pytest.mark.parametrize("code", sorted(CHECKS))
def test_every_check_has_words(code: str) -> None:
    assert code in checks.CHECKS


@pytest.mark.parametrize("code", sorted(EVIDENCE))
def test_every_number_of_evidence_has_words(code: str) -> None:
    assert code in terms.EVIDENCE


@pytest.mark.parametrize("code", sorted(EVIDENCE))
def test_every_number_of_evidence_can_be_shown(code: str) -> None:
    assert terms.evidence_value(code, 1.0, "US").strip()


def test_no_words_are_kept_for_codes_that_nobody_uses() -> None:
    assert set(checks.CHECKS) <= CHECKS
    assert set(causes.CAUSES) | set(causes.REASONS) <= CAUSES
    assert set(terms.EVIDENCE) <= EVIDENCE


def test_every_check_that_a_kind_brings_is_worded() -> None:
    assert {code for words in kinds.KINDS.values() for code in words.checks} <= set(checks.CHECKS)


def test_every_caution_that_is_named_is_worded() -> None:
    of_checks = {code for words in checks.CHECKS.values() for code in words.cautions}
    of_kinds = {code for words in kinds.KINDS.values() for code in words.cautions}
    assert of_checks | of_kinds <= set(cautions.CAUTIONS)


@pytest.mark.parametrize("code", TOUCHING)
def test_work_that_can_hurt_carries_a_caution(code: str) -> None:
    assert checks.check_words(code).cautions


def test_turning_a_shaft_by_hand_is_preceded_by_locking_out() -> None:
    assert "lock_out" in checks.cautions_first(["turn_shaft_by_hand"])


def test_the_shutoff_test_says_its_limit_at_the_step_itself() -> None:
    assert "shutoff_limit" in checks.check_words("shutoff_head_test").cautions
    assert "shutoff_limit" not in checks.cautions_first(["shutoff_head_test"])


def test_a_caution_is_said_once_however_many_steps_need_it() -> None:
    said = checks.cautions_first(["vent_casing", "fill_pressure", "air_separator"], ["hot_pressure"])
    assert said == ["hot_pressure"]


def test_priorities_qualities_provenances_and_quantities_have_words() -> None:
    assert set(terms.PRIORITIES) == {each.value for each in Priority} == set(terms.PRIORITY_MARKS)
    assert set(terms.QUALITIES) == {each.name.lower() for each in Quality}
    assert set(terms.PROVENANCES) == {each.value for each in Provenance}
    assert set(QUANTITY_NAMES) <= set(terms.QUANTITIES)


def test_a_code_from_the_future_is_shown_and_not_hidden() -> None:
    assert kinds.kind_words("odd_noise").title == "Odd noise"
    assert checks.check_words("ask_the_pump").text == "Ask the pump."
    assert causes.cause_words(["moon_phase"]) == "moon phase"
