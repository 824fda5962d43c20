"""Hour rows on disk and as a frame of one pump."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from sqlalchemy import Connection, Row, delete, insert, select

from api.store.tables import HOUR_LAYOUT, HOUR_ROW

if TYPE_CHECKING:
    import pandas as pd


def write_hours(connection: Connection, pump: str, hours: pd.DataFrame) -> None:
    """Replace these hours of a pump; ``hours`` is as ``api.analytics.hours.hour_rows`` returns it."""
    if hours.empty:
        return
    layout_id = _layout_id(connection, [str(name) for name in hours.columns])
    times = [int(time) for time in hours.index]
    delete_hours(connection, pump, times)
    numbers = hours.to_numpy(dtype="<f8", na_value=np.nan)
    connection.execute(
        insert(HOUR_ROW),
        [
            {"pump": pump, "hour_utc_ms": time, "layout_id": layout_id, "numbers": row.tobytes()}
            for time, row in zip(times, numbers, strict=True)
        ],
    )


def delete_hours(connection: Connection, pump: str, times_utc_ms: list[int]) -> None:
    """Forget these hours of a pump, before they are worked out anew."""
    for start in range(0, len(times_utc_ms), 500):
        some = times_utc_ms[start : start + 500]
        connection.execute(delete(HOUR_ROW).where(HOUR_ROW.c.pump == pump, HOUR_ROW.c.hour_utc_ms.in_(some)))


def read_hours(connection: Connection, pump: str, start_utc_ms: int, end_utc_ms: int) -> pd.DataFrame:
    """Return the hour rows of a pump from start up to end (exclusive), index ``hour_utc_ms`` ascending.

    A column that an older row does not have is NaN there. The frame is empty, without columns, when there
    is no row.
    """
    import pandas as pd

    rows = connection.execute(
        select(HOUR_ROW.c.hour_utc_ms, HOUR_ROW.c.layout_id, HOUR_ROW.c.numbers)
        .where(
            HOUR_ROW.c.pump == pump,
            HOUR_ROW.c.hour_utc_ms >= start_utc_ms,
            HOUR_ROW.c.hour_utc_ms < end_utc_ms,
        )
        .order_by(HOUR_ROW.c.hour_utc_ms)
    ).all()
    layouts = _layouts(connection) if rows else {}
    frames = [
        _frame([row for row in rows if row.layout_id == layout_id], layouts[layout_id])
        for layout_id in sorted({row.layout_id for row in rows})
    ]
    if not frames:
        return pd.DataFrame(index=pd.Index([], dtype="int64", name="hour_utc_ms"))
    return frames[0] if len(frames) == 1 else pd.concat(frames).sort_index()


def _frame(rows: Sequence[Row[int, int, bytes]], columns: list[str]) -> pd.DataFrame:
    import pandas as pd

    numbers = np.frombuffer(b"".join(row.numbers for row in rows), dtype="<f8")
    index = pd.Index([row.hour_utc_ms for row in rows], dtype="int64", name="hour_utc_ms")
    return pd.DataFrame(numbers.reshape(len(rows), len(columns)), index=index, columns=columns)


def _layouts(connection: Connection) -> dict[int, list[str]]:
    return {row.layout_id: json.loads(row.columns) for row in connection.execute(select(HOUR_LAYOUT))}


def _layout_id(connection: Connection, columns: list[str]) -> int:
    text = json.dumps(columns)
    known = connection.execute(
        select(HOUR_LAYOUT.c.layout_id).where(HOUR_LAYOUT.c["columns"] == text)
    ).scalar()
    if known is not None:
        return int(known)
    done = connection.execute(insert(HOUR_LAYOUT).values(columns=text))
    return int(done.inserted_primary_key[0])  # type: ignore[index]  # An insert always has one.
