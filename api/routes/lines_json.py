"""The JSON of the lines, read off the page's own view.

Names carry their units; times are ISO 8601 in UTC; null is no value.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from api.answers.findings import iso_utc
from dashboards.line_views import LineState, WorseKind

Utc = Annotated[str | None, BeforeValidator(iso_utc)]
"""An instant, from milliseconds UTC."""


class _OfView(BaseModel):
    """An answer whose fields are those of a view, by name."""

    model_config = ConfigDict(from_attributes=True)


class UnitAnswer(_OfView):
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
    last_reading_utc: Utc = Field(validation_alias="last_reading_utc_ms")
    is_silent: bool


class WorseAnswer(_OfView):
    """What became worse: a share of requests, or for ``later`` the median reply time [s]. Unit 0 is all."""

    kind: WorseKind
    unit: int
    pump: str
    since_utc: Annotated[str, BeforeValidator(iso_utc)] = Field(validation_alias="since_utc_ms")
    before: float
    after: float


class LineAnswer(_OfView):
    """One bus. ``busy_share`` is of the time that it was polled or heard."""

    name: str
    place: str
    setting: str
    is_listened: bool
    state: LineState
    busy_share: float | None = Field(validation_alias="use")
    last_reading_utc: Utc = Field(validation_alias="last_reading_utc_ms")
    counted_until_utc: Utc = Field(validation_alias="counted_until_utc_ms")
    troubles: list[str]
    worse: list[WorseAnswer]
    units: list[UnitAnswer]


class LinesAnswer(_OfView):
    """All lines over the last hours, in the site file's order."""

    range: Literal["day", "week", "month"]
    hours: int
    lines: list[LineAnswer]
