"""What ``owncurve import`` says of what was done."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo

if TYPE_CHECKING:
    from collector.store import ImportRecord, Undone
    from collector.trend_log import ImportReport

_NEXT: Final = "owncurve analyse takes it in, or by itself an owncurve run of this site"


def report_as_json(report: ImportReport) -> str:
    """Return a report as one JSON object, on one line."""
    return json.dumps(
        {**asdict(report), "first_utc": _iso(report.first_utc_ms), "last_utc": _iso(report.last_utc_ms)}
    )


def report_words(report: ImportReport, zone: ZoneInfo) -> str:
    """Return what was done with a file, and how to go on or back."""
    brought = _counted(report.rows_new, "new reading") + _completed(report.rows_completed)
    lines = [
        f"{report.pump}: {brought} from {report.file}"
        f" ({report.rows_duplicate:,} {_were(report.rows_duplicate)} there already,"
        f" {_counted(report.rows_set_aside, 'row')} set aside)",
        f"  from {_local(report.first_utc_ms, zone)} to {_local(report.last_utc_ms, zone)}",
        f"  columns: {', '.join(report.columns_used)}",
    ]
    if report.columns_ignored:
        lines.append(f"  columns not used: {', '.join(report.columns_ignored)}")
    lines += [f"  {trouble.sentence()}; no value was taken from them" for trouble in report.column_troubles]
    lines += [*_not_taken_lines(report), *_set_aside_lines(report)]
    if report.rows_new or report.rows_completed:
        lines += [f"  owncurve import --undo {report.import_id} takes it back", f"  {_NEXT}"]
    return "\n".join(lines)


def _not_taken_lines(report: ImportReport) -> list[str]:
    lines = []
    if against := report.rows_contradicting:
        verb = "contradicts" if against == 1 else "contradict"
        lines.append(
            f"  {_counted(against, 'row')} {verb} stored readings at the same instant; the stored ones stay"
        )
    if beside := report.rows_beside_polled:
        verb = "has" if beside == 1 else "have"
        lines.append(
            f"  {_counted(beside, 'row')} {verb} more values than the reading polled at the same instant;"
            " a polled reading is not completed from a file"
        )
    return lines


def undone_words(undone: Undone) -> str:
    """Return what was taken back."""
    emptied = undone.rows_emptied
    others = f"; out of {_counted(emptied, 'other')} only the values that it brought" if emptied else ""
    return (
        f"{undone.pump}: import {undone.import_id} ({undone.file_name}) is undone:"
        f" {_counted(undone.rows_removed, 'reading')} taken back{others}\n"
        "  owncurve analyse goes on without it, or by itself an owncurve run of this site"
    )


def list_words(records: Sequence[ImportRecord], zone: ZoneInfo) -> str:
    """Return a line for each import, oldest first."""
    return "\n".join(_line(record, zone) for record in records) or "nothing was imported yet"


def _line(record: ImportRecord, zone: ZoneInfo) -> str:
    undone = f"; undone {_local(record.undone_utc_ms, zone)}" if record.undone_utc_ms is not None else ""
    return (
        f"{record.import_id}  {_local(record.time_utc_ms, zone)}  {record.pump}, {record.file_name}:"
        f" {_counted(record.rows_new, 'new reading')}{_completed(record.rows_completed)}{undone}"
    )


def _completed(rows: int) -> str:
    return f" and {rows:,} completed" if rows else ""


def _counted(count: int, noun: str) -> str:
    return f"{count:,} {noun}" if count == 1 else f"{count:,} {noun}s"


def _were(count: int) -> str:
    return "was" if count == 1 else "were"


def _set_aside_lines(report: ImportReport) -> list[str]:
    lines = [f"  line {each.line} set aside: {each.reason}" for each in report.set_aside]
    more = report.rows_set_aside - len(report.set_aside)
    return [*lines, f"  and {more:,} more; all are kept in the database"] if more else lines


def _local(time_utc_ms: int | None, zone: ZoneInfo) -> str | None:
    if time_utc_ms is None:
        return None
    return datetime.fromtimestamp(time_utc_ms / 1000, zone).isoformat(timespec="seconds")


def _iso(time_utc_ms: int | None) -> str | None:
    if time_utc_ms is None:
        return None
    return datetime.fromtimestamp(time_utc_ms / 1000, UTC).isoformat().replace("+00:00", "Z")
