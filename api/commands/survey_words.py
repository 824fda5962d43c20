"""What a survey found, in sentences and as plain values."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from collector.listening import LinePicture
    from collector.survey import SettingSurvey, UnitFound

CAUTION: Final = (
    "A survey only reads, but it speaks. On a line that another master polls, now or later, both would "
    "damage each other's traffic, and drives may act on a lost command. Drives can restart by themselves; "
    "the site's own practice comes first."
)
LEAST_TALK_BYTES: Final = 8
"""A request has so many (application protocol V1.1b3, 6.3; from memory); fewer are an open line's noise."""


def why_not_ask(picture: LinePicture) -> str:
    """Return why nobody should be asked on a line that looks like this; empty when nothing was heard."""
    if picture.has_master and picture.setting is not None:
        asked = ", ".join(str(unit.unit) for unit in picture.units) or "all at once"
        return (
            f"a master polls this line at {picture.setting.words} (units {asked}), and a second one would "
            "damage its traffic: nothing was sent. Collect by listening (owncurve listen; listen_only = "
            "true in the site file), or take that master off the line first; --i-am-the-only-master asks "
            "all the same"
        )
    if picture.strays or picture.other_functions or picture.bytes_heard >= LEAST_TALK_BYTES:
        return (
            f"somebody speaks on this line ({picture.bytes_heard} bytes in {picture.seconds:.0f} s): "
            "nothing was sent. owncurve listen tells more; --i-am-the-only-master asks all the same"
        )
    return ""


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


def as_text(surveys: Sequence[SettingSurvey]) -> str:
    """Return what was found as sentences."""
    return "\n".join([*_setting_lines(surveys), *_several_settings(surveys), *_trouble_lines(surveys)])


def _setting_lines(surveys: Sequence[SettingSurvey]) -> Iterator[str]:
    for survey in surveys:
        yield _headline(survey)
        for unit in survey.found:
            yield from _unit_lines(unit)
        if survey.timing is not None:
            timing = survey.timing
            yield (
                f"For the site file: timeout_s = {timing.timeout_s:g}, late_reply_s = "
                f"{timing.late_reply_s:g} (three times the slowest answer and 0.1 s)."
            )
        if survey.link_trouble:
            yield f"Ended early: {survey.link_trouble}"


def _several_settings(surveys: Sequence[SettingSurvey]) -> Iterator[str]:
    """Say that a unit that answers at several settings has one all the same."""
    times = Counter(unit.unit for survey in surveys for unit in survey.found)
    several = ", ".join(str(unit) for unit, count in sorted(times.items()) if count > 1)
    if several:
        yield (
            f"Answered at more than one setting: units {several}. Some drives and adapters look at neither "
            "parity nor a second stop bit; take the setting that the drive's panel shows, the same for all."
        )


def _headline(survey: SettingSurvey) -> str:
    at = f"{survey.setting.words}: " if survey.setting else ""
    asked = f"{survey.units_asked} address{'es' if survey.units_asked != 1 else ''}"
    rest = "" if survey.is_complete else f" asked of {survey.units_planned}, then it ended"
    return f"{at}{len(survey.found)} of {asked}{rest} answered; {survey.seconds:.0f} s"


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
            if survey.found or trouble.kind not in seen:
                seen.add(trouble.kind)
                yield trouble.words
