"""What a piece of work did is said plainly: the number, its interval, and no credit that is not due."""

from __future__ import annotations

from dataclasses import replace

import pytest

from dashboards.service_views import AnsweredView, EffectView, Interval
from dashboards.wording.repairs import (
    VERDICTS,
    effect_sentence,
    energy_sentence,
    next_sentence,
    numbers,
    verdict_sentence,
)

NOW = 1_792_591_200_000  # 21 October 2026, 14:00 UTC
HOUR = 3_600_000
LOSS = AnsweredView(
    finding_id=1, kind="head_loss", verdict="worked", quantity="head", checks=("compare_gauges",)
)
AIR = AnsweredView(finding_id=2, kind="air_binding", verdict="worked", quiet_h=14.2)
EFFECT = EffectView(
    running_h=160.0,
    until_utc_ms=NOW,
    is_over=False,
    before={"head": -0.041, "energy": 0.065, "power": 0.01},
    since={
        "head": Interval(value=0.002, low=-0.003, high=0.007),
        "energy": Interval(value=0.001, low=-0.004, high=0.006),
        "power": Interval(value=0.01, low=0.0, high=0.02),
    },
    change={
        "head": Interval(value=0.045, low=0.04, high=0.05),
        "energy": Interval(value=-0.06, low=-0.066, high=-0.054),
        "power": Interval(value=0.0, low=-0.01, high=0.01),
    },
    days={"head": (20, 8), "energy": (20, 8), "power": (20, 8)},
    answered=(LOSS, AIR),
)


def plain(words: str) -> str:
    return words.replace("\N{NO-BREAK SPACE}", " ").replace("\N{MINUS SIGN}", "-")


def test_head_that_is_back_energy_and_gas_are_one_sentence() -> None:
    assert plain(effect_sentence(EFFECT, "US")) == (
        "Head back to +0.2 % (-0.3 % to +0.7 %) of its own curve; energy per gallon -6.0 % (-6.6 % to "
        "-5.4 %) at the same flow and head; no air for 14 h of running."
    )


def test_energy_is_told_by_what_the_reader_counts_water_in() -> None:
    assert "energy per m³ " in effect_sentence(EFFECT, "SI")


@pytest.mark.parametrize(
    ("verdict", "words"),
    [
        ("worked", "Worked: head below its own curve is gone."),
        ("partly", "Worked in part: head below its own curve is less than it was, and still there."),
        ("did_not_work", "Did not work: head below its own curve is still there."),
        (
            "not_known",
            "Can't be told: head below its own curve. These readings don't tell it apart from what drifts",
        ),
    ],
)
def test_each_verdict_is_said_plainly(verdict: str, words: str) -> None:
    assert verdict_sentence(replace(LOSS, verdict=verdict), "UTC", NOW).startswith(words)


def test_what_is_too_early_says_when_it_will_be_known() -> None:
    early = replace(LOSS, verdict="too_early", known_at_utc_ms=NOW + 26 * HOUR)
    assert plain(verdict_sentence(early, "UTC", NOW)) == (
        "Too early to say: head below its own curve. It will be known about 22 October 16:00."
    )


def test_what_came_back_says_when_it_was_last_seen() -> None:
    back = replace(AIR, verdict="did_not_work", seen_again_utc_ms=NOW - HOUR)
    assert plain(verdict_sentence(back, "UTC", NOW)).endswith("is still there, last seen 13:00 today.")
    assert "no air" not in effect_sentence(replace(EFFECT, answered=(back,)), "SI")


@pytest.mark.parametrize("verdict", sorted(VERDICTS))
def test_what_to_check_next_is_said_of_what_is_still_there_alone(verdict: str) -> None:
    said = next_sentence(replace(LOSS, verdict=verdict))
    assert said.startswith("Check next: Read one and the same gauge") is (
        verdict in ("partly", "did_not_work")
    )


def test_head_that_did_not_come_back_is_still_off() -> None:
    failed = replace(
        EFFECT,
        since=dict(EFFECT.since) | {"head": Interval(value=-0.04, low=-0.045, high=-0.035)},
        answered=(replace(LOSS, verdict="did_not_work"),),
    )
    assert plain(effect_sentence(failed, "SI")).startswith("Head still -4.0 % (-4.5 % to -3.5 %)")


def test_of_greasing_nothing_is_claimed() -> None:
    greased = replace(EFFECT, is_expected=False, answered=())
    assert effect_sentence(greased, "SI") == "Nothing measurable was expected of this work."
    assert energy_sentence(replace(greased, kwh_per_m3=(0.06, 0.05)), "SI") == ""


def test_without_measured_flow_and_head_neither_head_nor_energy_is_credited() -> None:
    blind = replace(
        EFFECT, is_judged=False, since={}, change={}, before={}, kwh_per_m3=(0.06, 0.05), answered=(AIR,)
    )
    said = effect_sentence(blind, "SI")
    assert said.startswith("No air for")
    assert "make a field check" in said
    assert energy_sentence(blind, "SI") == ""


def test_a_pump_that_stood_still_since_says_so() -> None:
    assert effect_sentence(replace(EFFECT, running_h=0.4), "SI") == "The pump has hardly run since."


def test_what_another_load_did_to_energy_is_told_apart_from_the_pump() -> None:
    whole = replace(EFFECT, kwh_per_m3=(0.1, 0.09), parts={"pump": -0.006, "head": -0.004, "density": 0.0})
    assert plain(energy_sentence(whole, "SI")) == (
        "Energy per volume as a whole -10.0 %, 0.100 to 0.0900 kWh/m³: -6.0 % the pump itself, -4.0 % "
        "another head asked for."
    )


def test_energy_that_did_not_change_is_said_in_a_number() -> None:
    same = replace(EFFECT, kwh_per_m3=(0.1, 0.10001))
    assert plain(energy_sentence(same, "SI")) == "Energy per volume as a whole as before, 0.100 kWh/m³."


def test_the_numbers_name_the_days_on_either_side() -> None:
    rows = numbers(EFFECT)
    assert [row[0] for row in rows] == [
        "Head, same flow and speed",
        "Power, same flow and speed",
        "Energy, same flow and head",
    ]
    assert {row[-1] for row in rows} == {"20 and 8"}
