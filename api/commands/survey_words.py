"""What a survey found, in sentences and as plain values."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from collector.survey import SettingSurvey, SurveyPlan, UnitFound

CAUTION: Final = (
    "A survey only reads, but it speaks. On a line that another master polls, now or later, both would "
    "damage each other's traffic, and drives may act on a lost command. Drives can restart by themselves; "
    "the site's own practice comes first."
)
SILENCE: Final = "nothing_answers"
"""The kind of trouble that says nobody was there; compared as a word, so that nothing is loaded for it."""


def as_json(place: str, kind: str, surveys: Sequence[SettingSurvey]) -> dict[str, Any]:
    """Return what was found as plain values; names carry their units, registers are counted from 0."""
    return {"place": place, "kind": kind, "settings": [_setting_json(survey) for survey in surveys]}


def _setting_json(survey: SettingSurvey) -> dict[str, Any]:
    told = asdict(survey)
    if survey.setting is not None:
        told["setting"]["words"] = survey.setting.words
    for unit, found in zip(told["found"], survey.found, strict=True):
        read = dict(zip(("table", "address", "count"), found.read, strict=True)) if found.read else None
        unit["read"] = read
    return told


def as_text(surveys: Sequence[SettingSurvey], plan: SurveyPlan) -> str:
    """Return what was found as sentences."""
    return "\n".join(
        [
            *_setting_lines(surveys),
            *_several_settings(surveys),
            *_trouble_lines(surveys),
            *_if_one_is_missing(surveys, plan),
        ]
    )


def _setting_lines(surveys: Sequence[SettingSurvey]) -> Iterator[str]:
    """Tell each unit once, at the first setting at which it answers, and where nobody does in one line."""
    told: set[int] = set()
    several = len(surveys) > 1
    for survey in surveys:
        if several and _is_empty(survey):
            continue
        yield _headline(survey)
        for unit in survey.found:
            if unit.unit not in told:
                yield from _unit_lines(unit)
        if again := [unit.unit for unit in survey.found if unit.unit in told]:
            yield f"  as above: {_named(again)}"
        told |= {unit.unit for unit in survey.found}
        if survey.link_trouble:
            yield f"Ended early: {survey.link_trouble}"
    if several and (empty := [survey for survey in surveys if _is_empty(survey)]):
        yield f"Nobody answered at {_settings_named(empty)}; {sum(each.seconds for each in empty):.0f} s"
    yield from _timing_lines(surveys)


def _is_empty(survey: SettingSurvey) -> bool:
    return not survey.found and survey.is_complete


def _settings_named(surveys: Sequence[SettingSurvey]) -> str:
    """Return settings by their speed: ``19200 8E1, 8N1, 9600 8E1``."""
    words = [survey.setting.words for survey in surveys if survey.setting is not None]
    shown, last = [], ""
    for each in words:
        baud, _, characters = each.partition(" ")
        shown.append(characters if baud == last else each)
        last = baud
    return ", ".join(shown)


def _timing_lines(surveys: Sequence[SettingSurvey]) -> Iterator[str]:
    """Tell the waits for the site file, at the setting that it is begun with: where most answered."""
    best = max(surveys, key=lambda each: len(each.found), default=None)
    if best is not None and best.timing is not None:
        yield (
            f"For the site file: timeout_s = {best.timing.timeout_s:g}, late_reply_s = "
            f"{best.timing.late_reply_s:g} (three times the slowest answer and 0.1 s)."
        )


def _named(units: Sequence[int]) -> str:
    return f"unit{'s' if len(units) != 1 else ''} {', '.join(map(str, units))}"


def _several_settings(surveys: Sequence[SettingSurvey]) -> Iterator[str]:
    """Say that a unit that answers at several settings has one all the same."""
    times = Counter(unit.unit for survey in surveys for unit in survey.found)
    several = [unit for unit, count in sorted(times.items()) if count > 1]
    if several:
        yield (
            f"Answered at more than one setting: {_named(several)}. Some drives and adapters look at neither "
            "parity nor a second stop bit; take the setting that the drive's panel shows, the same for all."
        )


def _if_one_is_missing(surveys: Sequence[SettingSurvey], plan: SurveyPlan) -> Iterator[str]:
    """Say what else can be tried, where an address was silent; what was tried already is left out."""
    if not all(survey.is_complete for survey in surveys):
        return  # Whom nobody asked yet is not missing.
    if not surveys or any(len(survey.found) >= survey.units_planned for survey in surveys):
        return
    tries = [] if plan.is_thorough else ["--thorough (asks who is silent twice more)"]
    tries.append(f"--timeout {max(1.0, 2 * plan.timeout_s):g} (waits longer for a slow drive)")
    if len(surveys) == 1 and surveys[0].setting is not None:
        tries.append("--all-settings (another baud rate or parity)")
    yield f"Is a drive missing? Try {', '.join(tries)}."


def _headline(survey: SettingSurvey) -> str:
    at = f"{survey.setting.words}: " if survey.setting else ""
    asked = f"{survey.units_asked} address{'es' if survey.units_asked != 1 else ''}"
    rest = "" if survey.is_complete else f", then it ended; {survey.units_planned} were to be asked"
    return f"{at}{len(survey.found)} of {asked} answered{rest}; {survey.seconds:.0f} s"


def _unit_lines(unit: UnitFound) -> Iterator[str]:
    texts = " / ".join(_plain(text) for _, text in sorted(unit.identification.items()) if text.strip())
    yield f"unit {unit.unit}: {texts or 'does not say what it is'}"
    if unit.turn_around_p50_s is not None and unit.turn_around_p95_s is not None:
        p50_ms, p95_ms = unit.turn_around_p50_s * 1000, unit.turn_around_p95_s * 1000
        yield f"  begins its answer after {p50_ms:.0f} ms (95 % within {p95_ms:.0f} ms)"
    if unit.read is not None:
        table, address, count = unit.read
        places = f"s {address} to {address + count - 1}" if count > 1 else f" {address}"
        yield f"  gave data from {table} register{places} (counted from 0)"
    yield (
        f"  {unit.requests} requests: {unit.answers} answered, {unit.exceptions} refused, "
        f"{unit.no_answers} without an answer, {unit.damaged} damaged"
    )


def _plain(text: str) -> str:
    """Return a drive's own text without anything that a terminal would act upon."""
    return "".join(letter if letter.isprintable() else "\ufffd" for letter in text)


def _trouble_lines(surveys: Sequence[SettingSurvey]) -> Iterator[str]:
    """Each trouble of a setting at which somebody answered; if nobody did at any, each kind once."""
    told = [survey for survey in surveys if survey.found] or list(surveys)
    seen = set()
    for survey in told:
        for trouble in survey.troubles:
            if not survey.is_complete and trouble.kind == SILENCE:
                continue  # Of those whom it asked before it ended nobody was sure to be there.
            if survey.found or trouble.kind not in seen:
                seen.add(trouble.kind)
                yield trouble.words
