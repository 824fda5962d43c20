"""What the page of the lines is told: frozen facts, ready to be worded and drawn."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from dashboards.views import FloatArray, PageFrame, TimeArray

LineState = Literal["answers", "some_silent", "dead", "not_asked", "not_counted"]
ErrorKind = Literal["no_reply", "damaged", "refused", "echo", "no_link"]
ERROR_KINDS: tuple[ErrorKind, ...] = ("no_reply", "damaged", "refused", "echo", "no_link")
WorseKind = Literal["damaged", "no_reply", "later"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Worse:
    """What has become worse from an instant on: a share [-], or for ``later`` the median reply time [s].

    ``unit`` is 0 where it is the whole line.
    """

    kind: WorseKind
    since_utc_ms: int
    before: float
    after: float
    unit: int = 0
    pump: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitOnLine:
    """One unit of a line over the range: counts, reply times [s] (``None`` without replies), its pump.

    ``pump`` is empty for a unit that the site file does not name. ``is_silent`` holds while every newer try
    to read the pump failed; ``last_reading_utc_ms`` is its last good reading. ``why_not_asked`` is the
    collector's sentence where its newest try sent nothing: no port, no host, or another master on the line.
    """

    unit: int
    pump: str = ""
    requests: int = 0
    answers: int = 0
    no_reply: int = 0
    damaged: int = 0
    refused: int = 0
    echo: int = 0
    no_link: int = 0
    reply_p50_s: float | None = None
    reply_p95_s: float | None = None
    last_reading_utc_ms: int | None = None
    is_silent: bool = False
    why_not_asked: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One bus over the range. ``place`` is its port or host, ``setting`` empty on a network.

    ``use`` [-] is the share of the watched time in which a request was under way, ``None`` when nothing was
    counted. ``last_reading_utc_ms`` is the newest of its pumps. ``troubles`` are sentences from the counts of
    the last hours, ``counted_until_utc_ms`` is where counts end.
    """

    name: str
    place: str
    setting: str
    is_listened: bool
    state: LineState
    use: float | None = None
    units: tuple[UnitOnLine, ...] = ()
    troubles: tuple[str, ...] = ()
    worse: tuple[Worse, ...] = ()
    last_reading_utc_ms: int | None = None
    counted_until_utc_ms: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LinesPage:
    """All lines over the last ``hours``; ``range`` is a name of ``addresses.LINE_RANGES``."""

    frame: PageFrame
    range: str
    hours: int
    lines: tuple[Line, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitReplies:
    """Reply times of one unit over the picture's instants [s], NaN without replies."""

    unit: int
    pump: str
    p50_s: FloatArray
    p95_s: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class LinePicture:
    """One line over time: at each instant [ms UTC], what was counted from it for ``step_ms``.

    ``use`` and the shares of ``errors`` (of requests, ``no_link`` of turns) are [-], NaN without counts.
    """

    name: str
    time_zone: str
    step_ms: int
    times_utc_ms: TimeArray
    use: FloatArray
    errors: dict[ErrorKind, FloatArray]
    replies: tuple[UnitReplies, ...]
