"""What a card says of now agrees with the values beside it."""

# ruff: noqa: ANN401 - any field of a card
from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pytest

from api.analytics.finding import Kind
from dashboards import pages as html
from dashboards.pages.live import findings_mark, live_answer, value_note
from dashboards.views import EvidenceNumber, LikelyCause, LiveValue
from dashboards.wording.cautions import CAUTIONS
from dashboards.wording.sentences import effect_sentence, title
from dashboards.wording.terms import evidence_words

TIMES = (EvidenceNumber(name="episodes", value=300),)


def said(invented: SimpleNamespace, kind: Kind, **more: Any) -> str:
    facts = {"fault_meaning": ""} | more
    card = invented.card(kind, **facts)
    return effect_sentence(card, "Europe/Lisbon", invented.NOW_MS).replace("\u00a0", " ")


def test_a_code_that_is_gone_is_told_with_its_count_and_last_time(invented: SimpleNamespace) -> None:
    assert said(invented, Kind.DRIVE_FAULT, effect=21.0, evidence=TIMES, is_seen_now=False) == (
        "The drive has reported fault code 21, 300 times since 12 October, last at 14:00 today, "
        "and does not report it now."
    )


def test_a_code_that_stands_is_told_in_the_present(invented: SimpleNamespace) -> None:
    words = said(invented, Kind.DRIVE_FAULT, effect=21.0, evidence=TIMES)
    assert words == "The drive reports fault code 21, seen 300 times since 12 October."


def test_an_earlier_code_is_told_in_the_past(invented: SimpleNamespace) -> None:
    words = said(invented, Kind.DRIVE_FAULT, effect=21.0, state="returned_to_normal")
    assert words.startswith("The drive reported fault code 21 from")


def test_a_drive_that_answers_again_says_what_it_lost(invented: SimpleNamespace) -> None:
    words = said(invented, Kind.NO_REPLY, is_seen_now=False, lost_share=0.34, lost_over_h=24)
    assert words == (
        "The drive answers again (last silent at 14:00 today), and lost 34 % of scans in the last day."
    )


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({}, "Drive does not answer"),
        ({"is_seen_now": False}, "Drive drops out"),
        ({"state": "returned_to_normal"}, "Drive did not answer"),
        ({"causes": (LikelyCause(names=("wrong_register",), weight=0.9),)}, "Drive refuses to be read"),
    ],
)
def test_the_title_of_a_silence_says_what_is_so_now(
    invented: SimpleNamespace, facts: dict[str, Any], words: str
) -> None:
    assert title(invented.card(Kind.NO_REPLY, **facts)) == words


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("", "No reply"),
        ("refused", "Refuses to be read"),
        ("damaged", "Damaged answers"),
        ("no_link", "No link"),
    ],
)
def test_the_state_says_what_came_instead_of_readings(
    invented: SimpleNamespace, kind: str, words: str
) -> None:
    row = invented.row("A", state="no_reply", failure_kind=kind)
    assert live_answer(invented.frame(), [row])["pumps"]["A"]["state_words"] == words


def test_a_page_is_fetched_anew_when_a_finding_stops_to_show(invented: SimpleNamespace) -> None:
    marks = {
        findings_mark([invented.row("A", invented.card(Kind.DRIVE_FAULT, is_seen_now=seen))])
        for seen in (True, False)
    }
    assert len(marks) == 2


@pytest.mark.parametrize(("efficiency", "is_marked"), [(1.0, False), (1.01, True), (None, False)])
def test_an_efficiency_no_pump_can_have_is_marked_wherever_it_is_shown(
    invented: SimpleNamespace, efficiency: float | None, is_marked: bool
) -> None:
    page = invented.week_page()
    strange = replace(page.pumps[0].week, efficiency=efficiency)
    week = html.week_page(replace(page, pumps=(replace(page.pumps[0], week=strange),)))
    note = value_note(LiveValue(quantity="efficiency", value=efficiency))
    assert ("check units or signals" in week) is is_marked
    assert ("check units or signals" in note) is is_marked


def test_no_page_says_where_a_number_was_remembered_from() -> None:
    assert not [words for words in CAUTIONS.values() if "memory" in words]


def test_a_finding_and_its_pump_do_not_count_the_own_curves_hours_apart() -> None:
    # The evidence counts the judged hours before a loss; the curve's own hours stand on the pump's page.
    assert "learned" not in evidence_words("hours_in_baseline")
