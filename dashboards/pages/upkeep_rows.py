"""Which tasks are shown where, with which cautions, and where they are recorded as done."""

from __future__ import annotations

from collections.abc import Iterable

from dashboards import addresses
from dashboards.upkeep_views import UpkeepRow
from dashboards.wording import upkeep as words


def that_matter(rows: Iterable[UpkeepRow]) -> list[UpkeepRow]:
    """Return what is due, soon due, or not known: the rest can wait."""
    return [row for row in rows if row.state != "not_yet"]


def kinds_of(rows: Iterable[UpkeepRow]) -> list[str]:
    """Return the kinds of task of these rows, in the order in which they are explained."""
    shown = {row.kind for row in rows}
    return [kind for kind in words.TASKS if kind in shown]


def cautions_of(rows: Iterable[UpkeepRow]) -> list[str]:
    """Return the codes of the cautions of these tasks, each once."""
    codes = [code for row in rows for code in words.CAUTIONS.get(row.kind, words.CAUTIONS["other"])]
    return list(dict.fromkeys(codes))


def record_address(row: UpkeepRow) -> str:
    """Return the address of the service log's form with the work filled in that does this task."""
    return addresses.service_address(row.pump, row.record_as, row.name)
