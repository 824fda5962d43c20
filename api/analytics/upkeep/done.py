"""Which recorded work does which task."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

DONE_BY: Final[Mapping[str, tuple[str, ...]]] = {
    "greasing": ("greased", "bearing_replaced"),
    "coupling_check": ("coupling_checked", "aligned"),
    "seal_inspection": ("seal_inspected", "seal_replaced"),
    "turning_by_hand": ("turned_by_hand",),
    "strainer": ("strainer_cleaned",),
    "filter": ("filter_changed",),
    "alignment": ("aligned",),
    "other": ("other_upkeep",),
}
"""Kinds of work, by the kind of task that they do; the first is the one that does it and nothing more."""


def does(work: str, note: str, kind: str, name: str = "") -> bool:
    """Return whether a piece of work with this note does the task of this kind.

    Of ``other_upkeep`` its note tells which: it begins with the task's name.

    >>> does("seal_replaced", "", "seal_inspection"), does("vented", "", "strainer")
    (True, False)
    >>> does("other_upkeep", "check the drip: dry", "other", "Check the drip")
    True
    """
    if work not in DONE_BY[kind]:
        return False
    return kind != "other" or note.strip().casefold().startswith(name.strip().casefold())
