"""The JSON of the lines. Names carry their units; times are ISO 8601 in UTC; null is no value."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel

from api.answers.findings import iso_utc
from dashboards.line_views import Line, LinesPage, LineState, UnitOnLine, WorseKind


class UnitAnswer(BaseModel):
    """One unit of a line over the range: counts of requests, and of turns without a link.

    ``pump`` is empty for a unit that the site file does not name. ``requests`` is the sum of answers,
    refused, no_reply, damaged and echo. Reply times leave the time on a serial line out.
    """

    unit: int
    pump: str
    requests: int
    answers: int
    no_reply: int
    damaged: int
    refused: int
    echo: int
    no_link: int
    reply_p50_s: float | None
    reply_p95_s: float | None
    last_reading_utc: str | None
    is_silent: bool


class WorseAnswer(BaseModel):
    """What became worse: a share of requests, or for ``later`` the median reply time [s]. Unit 0 is all."""

    kind: WorseKind
    unit: int
    pump: str
    since_utc: str
    before: float
    after: float


class LineAnswer(BaseModel):
    """One bus. ``busy_share`` is of the time that it was polled or heard."""

    name: str
    place: str
    setting: str
    is_listened: bool
    state: LineState
    busy_share: float | None
    last_reading_utc: str | None
    counted_until_utc: str | None
    troubles: list[str]
    worse: list[WorseAnswer]
    units: list[UnitAnswer]


class LinesAnswer(BaseModel):
    """All lines over the last hours, in the site file's order."""

    range: Literal["day", "week", "month"]
    hours: int
    lines: list[LineAnswer]


def lines_answer(page: LinesPage) -> LinesAnswer:
    """Return what the page of the lines tells, for programs."""
    return LinesAnswer.model_validate(
        {"range": page.range, "hours": page.hours, "lines": [_line(line) for line in page.lines]}
    )


def _line(line: Line) -> LineAnswer:
    return LineAnswer(
        name=line.name,
        place=line.place,
        setting=line.setting,
        is_listened=line.is_listened,
        state=line.state,
        busy_share=line.use,
        last_reading_utc=iso_utc(line.last_reading_utc_ms),
        counted_until_utc=iso_utc(line.counted_until_utc_ms),
        troubles=list(line.troubles),
        worse=[
            WorseAnswer(
                kind=each.kind,
                unit=each.unit,
                pump=each.pump,
                since_utc=iso_utc(each.since_utc_ms) or "",
                before=each.before,
                after=each.after,
            )
            for each in line.worse
        ],
        units=[_unit(unit) for unit in line.units],
    )


def _unit(unit: UnitOnLine) -> UnitAnswer:
    return UnitAnswer(
        unit=unit.unit,
        pump=unit.pump,
        requests=unit.requests,
        answers=unit.answers,
        no_reply=unit.no_reply,
        damaged=unit.damaged,
        refused=unit.refused,
        echo=unit.echo,
        no_link=unit.no_link,
        reply_p50_s=unit.reply_p50_s,
        reply_p95_s=unit.reply_p95_s,
        last_reading_utc=iso_utc(unit.last_reading_utc_ms),
        is_silent=unit.is_silent,
    )
