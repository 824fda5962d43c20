"""What a survey found."""

from __future__ import annotations

from dataclasses import dataclass

from collector.bus.line_setting import LineSetting
from collector.survey.wiring import Trouble


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitFound:
    """A unit that answered.

    ``identification`` are its own texts by object number (0 vendor, 1 product code, 2 revision), empty when
    it offers none. ``read`` is a read that gave data: table, zero-based address and the most registers that
    it gave at once; ``None`` when it refused all that were tried. The counts are of requests.
    ``turn_around_p50_s``, ``_p95_s`` and ``slowest_s`` [s] are the time from the end of a request to the
    beginning of its answer. ``late_s`` [s] is how long its latest answer took, if beyond the time-out.
    """

    unit: int
    identification: dict[int, str]
    read: tuple[str, int, int] | None
    requests: int
    answers: int
    exceptions: int
    no_answers: int
    damaged: int
    turn_around_p50_s: float | None
    turn_around_p95_s: float | None
    slowest_s: float | None
    late_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Timing:
    """What a site file may say of a bus [s]."""

    timeout_s: float
    late_reply_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingSurvey:
    """What was found at one line setting; ``setting`` is ``None`` on a network host.

    ``is_complete`` is false when it was stopped, or the link was lost: then ``link_trouble`` says how.
    ``garbled`` are addresses from which something came, but never a sound answer.
    """

    setting: LineSetting | None
    units_asked: int
    units_planned: int
    seconds: float
    is_complete: bool
    found: tuple[UnitFound, ...]
    garbled: tuple[int, ...]
    troubles: tuple[Trouble, ...]
    timing: Timing | None
    link_trouble: str = ""
