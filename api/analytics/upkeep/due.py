"""When a task is due: by run hours since it was last done, by days, or by days of standing still."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from api.analytics.spans import DAY_MS

SOON_SHARE: Final = 0.9
"""A task is due soon from this share of its interval on (our own choice)."""


class State(StrEnum):
    """How a task stands."""

    NOT_YET = "not_yet"
    SOON = "soon"
    DUE = "due"
    UNKNOWN = "unknown"
    """Nobody knows since when to count: there is neither a record nor a reading."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """A task with its intervals; the first that runs out makes it due.

    ``every_run_h`` [h] counts the hours that the pump ran, ``every_days`` [d] the calendar, and
    ``standing_days`` [d] the days since it last ran: a pump that stands seizes.

    Raises
    ------
    ValueError
        When it has no interval, or one that is not above zero.
    """

    name: str
    every_run_h: float | None = None
    every_days: float | None = None
    standing_days: float | None = None

    def __post_init__(self) -> None:
        intervals = [self.every_run_h, self.every_days, self.standing_days]
        told = [interval for interval in intervals if interval is not None]
        if not told:
            raise ValueError(f"task {self.name!r} needs an interval")
        if min(told) <= 0:
            raise ValueError(f"task {self.name!r}: an interval should be above zero")


@dataclass(frozen=True, slots=True, kw_only=True)
class Counts:
    """What has been counted since a task was last done, or since counting began.

    ``run_h`` [h] is ``None`` where nobody counted; ``unseen_h`` [h] is time of which nothing is known,
    neither by readings nor by the drive's counter. ``run_h_a_day`` [h/d] is the pace of the last weeks.
    ``last_ran_utc_ms`` is when it last ran, or was turned by hand.
    """

    since_utc_ms: int | None
    run_h: float | None
    unseen_h: float = 0.0
    run_h_a_day: float | None = None
    last_ran_utc_ms: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Due:
    """How a task stands: ``used`` [-] is the share of the interval that runs out first.

    ``by`` names that interval (``run_h``, ``days``, ``standing``); ``about_utc_ms`` is when it will be due at
    the present pace, ``None`` where that can't be said. One that is due by days has the time it became so.
    """

    task: Task
    state: State
    by: str = ""
    used: float | None = None
    about_utc_ms: int | None = None
    unseen_h: float = 0.0


def due(task: Task, counts: Counts, now_utc_ms: int) -> Due:
    """Return how a task stands now."""
    ends = _ends(task, counts, now_utc_ms)
    if not ends:
        return Due(task=task, state=State.UNKNOWN, unseen_h=counts.unseen_h)
    used, by, about = max(ends, key=lambda end: end[0])
    state = State.DUE if used >= 1 else State.SOON if used >= SOON_SHARE else State.NOT_YET
    dates = [end for _, _, end in ends if end is not None]
    return Due(
        task=task,
        state=state,
        by=by,
        used=used,
        about_utc_ms=about if used >= 1 else min(dates, default=None),
        unseen_h=counts.unseen_h,
    )


def _ends(task: Task, counts: Counts, now_utc_ms: int) -> list[tuple[float, str, int | None]]:
    """Return of each interval that can be counted its share used, its name, and when it runs out."""
    ends: list[tuple[float, str, int | None]] = []
    if task.every_run_h is not None and counts.run_h is not None:
        left_h = task.every_run_h - counts.run_h
        pace = counts.run_h_a_day
        end = now_utc_ms + round(left_h / pace * DAY_MS) if pace and left_h > 0 else None
        ends.append((counts.run_h / task.every_run_h, "run_h", end))
    for name, days, since in (
        ("days", task.every_days, counts.since_utc_ms),
        ("standing", task.standing_days, counts.last_ran_utc_ms),
    ):
        if days is not None and since is not None:
            used = (now_utc_ms - since) / DAY_MS / days
            ends.append((used, name, since + round(days * DAY_MS)))
    return ends
