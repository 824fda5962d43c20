"""Work that falls due, in words. How often and how is common practice; the makers' manuals come first."""

from __future__ import annotations

import math
from typing import Final

from dashboards.display import BOUND, listed, number
from dashboards.moments import day_words, span_words
from dashboards.upkeep_views import UpkeepRow
from dashboards.wording.terms import SERVICES

TASKS: Final = {
    "greasing": "Grease the bearings",
    "coupling_check": "Check the coupling",
    "seal_inspection": "Look at the shaft seal",
    "turning_by_hand": "Turn the shaft by hand",
    "strainer": "Clean the strainer",
    "filter": "Clean or change the filter",
    "alignment": "Check the alignment",
}
STATES: Final = {"due": "Due", "soon": "Due soon", "unknown": "Not known", "not_yet": "Not yet due"}
MARKS: Final = {"due": "▲", "soon": "■", "unknown": "○", "not_yet": "·"}
"""A shape for each state, so that colour never stands alone."""
HOW: Final = {
    "greasing": "With the grease that the manual names: not every two mix. Too much heats the bearing.",
    "coupling_check": "Insert, screws and guard: cracks, crumbs of rubber, play.",
    "seal_inspection": "From outside, while it runs: drops, crust or spray at the shaft.",
    "turning_by_hand": "Some turns, so that corrosion and deposits do not hold the impeller.",
    "strainer": "Write down the pressure drop before and after.",
    "filter": "That of the drive's cooling air, or of the seal's flushing water.",
    "alignment": "With pipes under pressure and at working temperature, as the manual says.",
}
"""What to do, in a line (common practice)."""
CAUTIONS: Final = {
    "greasing": ("rotating_parts", "automatic_restart"),
    "coupling_check": ("lock_out", "stored_energy", "automatic_restart"),
    "seal_inspection": ("rotating_parts", "hot_pressure"),
    "turning_by_hand": ("lock_out", "stored_energy", "automatic_restart"),
    "strainer": ("lock_out", "automatic_restart", "hot_pressure"),
    "filter": ("lock_out", "stored_energy", "automatic_restart", "hot_pressure"),
    "alignment": ("lock_out", "stored_energy", "automatic_restart"),
    "other": ("lock_out", "stored_energy", "automatic_restart"),
}
"""Codes of cautions by the kind of task."""
GREASE_RULE: Final = (
    "Grease: 0.005 × outside diameter × width of the bearing, both in mm, gives grams (common practice). The "
    "maker's manual comes first."
)
NO_TASKS: Final = (
    "No upkeep is asked for: the site file has no [[upkeep]] table. owncurve upkeep --suggest prints some to "
    "begin with."
)
UNSEEN_WORTH_SAYING_H: Final = 24.0


def task_title(row: UpkeepRow) -> str:
    """Return what is to be done.

    >>> task_title(UpkeepRow(pump="P01", kind="strainer", state="due", record_as="strainer_cleaned"))
    'Clean the strainer'
    """
    return row.name or TASKS.get(row.kind, row.kind)


def used_words(row: UpkeepRow) -> str:
    r"""Return how much of the interval that runs out first is used; empty where nobody knows.

    >>> row = UpkeepRow(pump="P01", kind="greasing", state="soon", record_as="greased", by="run_h",
    ...                 used=0.95, run_h=3800.0, every_run_h=4000.0)
    >>> used_words(row)
    '3,800 of 4,000\xa0run hours'
    """
    if row.used is None:
        return "nothing was counted yet"
    if row.by == "run_h" and row.every_run_h is not None:
        return f"{_whole(row.run_h)} of {number(row.every_run_h, 9, 0)}{BOUND}run hours"
    days = (row.standing_days if row.by == "standing" else row.every_days) or 0.0
    stood = "stood still for " if row.by == "standing" else ""
    limit = number(days, 9, 0 if days == round(days) else 1)
    return f"{stood}{_whole(row.used * days)} of {limit}{BOUND}days"


def _whole(counted: float | None) -> str:
    """Return what is full: 1,999.9 of 2,000 hours are not 2,000 yet."""
    return number(None if counted is None else math.floor(counted + 1e-6), 9, 0)


def since_words(row: UpkeepRow, time_zone: str, now_utc_ms: int) -> str:
    """Return since when it is counted: the work recorded last, or the first reading for want of a record."""
    if row.done_utc_ms is not None:
        work = SERVICES.get(row.done_by_work, row.done_by_work)
        return f"last {work} {day_words(row.done_utc_ms, time_zone, now_utc_ms)}"
    if row.since_utc_ms is None:
        return "never recorded, and there are no readings"
    day = day_words(row.since_utc_ms, time_zone, now_utc_ms)
    return f"never recorded; counted from the first reading, {day}"


def when_words(row: UpkeepRow, time_zone: str, now_utc_ms: int) -> str:
    """Return about when it will be due at the pace of the last weeks, or since when it is; else nothing."""
    if row.about_utc_ms is None:
        return ""
    day = day_words(row.about_utc_ms, time_zone, now_utc_ms)
    return f"due since {day}" if row.state == "due" else f"due about {day}"


def unseen_words(row: UpkeepRow) -> str:
    """Return of how long nothing is known, where that is long enough to matter."""
    counts_hours = row.every_run_h is not None or row.standing_days is not None
    if not counts_hours or row.unseen_h < UNSEEN_WORTH_SAYING_H:
        return ""
    return f"of {span_words(row.unseen_h * 3600)} in between nobody knows whether it ran"


def grease_words(row: UpkeepRow) -> str:
    r"""Return the grease for each bearing, empty where no sizes are written down.

    >>> from dashboards.upkeep_views import Grease
    >>> row = UpkeepRow(pump="P01", kind="greasing", state="due", record_as="greased",
    ...                 grease=(Grease(grams=7.2, place="drive end"), Grease(grams=3.3)))
    >>> grease_words(row)
    'about 7.2\xa0g (drive end) and about 3.3\xa0g'
    """
    each = (f"about {grease.grams:.1f}{BOUND}g{_at(grease.place)}" for grease in row.grease)
    return listed(each)


def _at(place: str) -> str:
    return f" ({place})" if place.strip() else ""


def upkeep_line(row: UpkeepRow, time_zone: str, now_utc_ms: int) -> str:
    """Return a task in one line: how far it is, since when, until when, and what nobody saw."""
    parts = (
        used_words(row),
        since_words(row, time_zone, now_utc_ms),
        when_words(row, time_zone, now_utc_ms),
        unseen_words(row),
        grease_words(row),
        row.note.strip(),
    )
    return "; ".join(part for part in parts if part)
