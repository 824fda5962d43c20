"""What an import brought: of which row which values, kept small, so that it can be taken back exactly."""

from __future__ import annotations

import json
import zlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import accumulate, pairwise
from typing import Final

from sqlalchemy import Connection

from collector.quantities import QUANTITY_NAMES
from collector.reading import pack_quality, unpack_quality
from collector.store.dialect import fetch, insert_or_keep
from collector.store.merging import QUALITY, VALUES, Row
from collector.store.tables import IMPORT_CHANGE

_PLACES: Final = range(len(QUANTITY_NAMES))


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """What an import did to a row.

    ``values`` has a bit for each quantity (in the order of ``QUANTITY_NAMES``, the first the lowest) whose
    value it brought, ``flaws`` one for each it told the absence of. ``quality`` is the packed one before.
    """

    values: int
    flaws: int
    quality: int


def change(before: Row | None, after: Row) -> Change:
    """Return what makes the row after out of the row before, ``None`` when there was no row."""
    was = (None,) * len(QUANTITY_NAMES) if before is None else before[VALUES]
    quality = 0 if before is None else before[QUALITY]
    new_flaws = 0
    if after[QUALITY] != quality:
        told, tells = unpack_quality(quality), unpack_quality(after[QUALITY])
        new_flaws = _bits(bool(tells[name] and not told[name]) for name in QUANTITY_NAMES)
    brought = _bits(new is not None and old is None for old, new in zip(was, after[VALUES], strict=True))
    return Change(values=brought, flaws=new_flaws, quality=quality)


def without(row: Row, brought: Change) -> Row:
    """Return a stored row without what an import brought; what others filled in since stays."""
    values = [
        None if brought.values >> place & 1 else value
        for place, value in zip(_PLACES, row[VALUES], strict=True)
    ]
    now, before = unpack_quality(row[QUALITY]), unpack_quality(brought.quality)
    back = brought.values | brought.flaws
    quality = {
        name: before[name] if back >> place & 1 else now[name]
        for place, name in zip(_PLACES, QUANTITY_NAMES, strict=True)
        if values[place] is None
    }
    return (*row[: VALUES.start], *values, pack_quality(quality), *row[QUALITY + 1 :])


def keep_changes(connection: Connection, import_id: int, part: int, changes: Mapping[int, Change]) -> None:
    """Keep the changes of one part of an import, by the instants [ms UTC] of their rows.

    A minute's row of a regular log takes well under a byte: times as steps, packed.
    """
    if changes:
        packed = zlib.compress(_as_text(changes).encode("ascii"))
        insert_or_keep(connection, IMPORT_CHANGE, [(import_id, part, packed)])


def kept_changes(connection: Connection, import_id: int) -> Iterable[dict[int, Change]]:
    """Give the changes of an import part by part."""
    parts = fetch(connection, "SELECT part FROM import_change WHERE import_id = ? ORDER BY part", import_id)
    statement = "SELECT packed FROM import_change WHERE import_id = ? AND part = ?"
    for (part,) in parts:
        ((packed,),) = fetch(connection, statement, import_id, part)
        yield _from_text(zlib.decompress(packed).decode("ascii"))


def _as_text(changes: Mapping[int, Change]) -> str:
    times = list(changes)
    steps = [times[0], *(later - earlier for earlier, later in pairwise(times))]
    done = changes.values()
    columns = [[each.values for each in done], [each.flaws for each in done], [each.quality for each in done]]
    return json.dumps([steps, *columns], separators=(",", ":"))


def _from_text(text: str) -> dict[int, Change]:
    steps, *columns = json.loads(text)
    return {
        time_utc_ms: Change(values=values, flaws=flaws, quality=quality)
        for time_utc_ms, values, flaws, quality in zip(accumulate(steps), *columns, strict=True)
    }


def _bits(flags: Iterable[bool]) -> int:
    return sum(1 << place for place, flag in enumerate(flags) if flag)
