"""Hours at the top of the flow meter's range: it shows its highest value whatever more flows."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

FEWEST_FLAT_HOURS: Final = 3
"""So many hours of nothing but the day's highest flow are asked for: a coarse meter shows one or two of them
at the turn of every day's demand."""

LIVELY_STEPS: Final = 2.0
"""A flow that usually moves by so many steps within an hour does not stand still at its top by chance."""

FLAT_HOURS: Final = 5
"""With a quieter meter head must tell, and fewer hours of a day do not tell its scatter."""

LEAST_HEAD_SCATTER: Final = 0.006
"""Hours of one flow and one speed agree in head within this, as a share (own study: sensor noise and drift
within a day stay below)."""

MOST_HIDDEN: Final = 0.5
"""A day with a larger share of hours at the top is left out whole: the rest of it is its tail."""

SURE: Final = 1.5
"""Five hours tell their own scatter only within about a half."""

_STEP_SD: Final = 1 / np.sqrt(12)
"""Standard deviation of what rounding to a step leaves, in steps."""


def at_flow_range(hours: pd.DataFrame, day: NDArray[np.int64]) -> BoolArray:
    """Mask the hours that touch the flow meter's highest value on days on which it hides what flows.

    ``hours`` are hour rows of whole days, ``day`` the number of each one's day. Hours of nothing but exactly
    the day's highest flow hide what flows where the flow is a lively one in other hours; or where their head
    is explained neither by their speed (at one flow, head is a function of speed alone) nor by the steps in
    which flow and head are shown. A coarse or quiet meter, a pump of one duty and a control that holds flow
    pass. Each day is judged by itself, so that wear never looks like it.
    """
    top = hours["flow_m3h_max"].to_numpy(dtype=float)
    count = hours["n_trusted"].to_numpy(dtype=float)
    days, group = np.unique(day, return_inverse=True)
    highest = np.full(len(days), -np.inf)
    np.maximum.at(highest, group, np.nan_to_num(top, nan=-np.inf))
    touching = top == highest[group]
    flat = touching & (count > 0) & (hours["sum_q"].to_numpy(dtype=float) >= count * top * (1 - 1e-9))
    hidden = np.zeros(len(days), dtype=np.bool_)
    for place in np.flatnonzero(np.bincount(group, flat, minlength=len(days)) >= FEWEST_FLAT_HOURS):
        of_day = group == place
        hidden[place] = _is_lively(hours[of_day & ~touching]) or _head_moves(hours[of_day], flat[of_day])
    share = np.bincount(group, touching & (count > 0)) / np.maximum(np.bincount(group, count > 0), 1)
    return np.asarray(hidden[group] & (touching | (share[group] > MOST_HIDDEN)))


def _is_lively(others: pd.DataFrame) -> bool:
    # A start or a stop would pass for liveliness.
    others = others[(others["n_trusted"] > 0) & (others["flow_m3h_min"] > 0)]
    step = _step(others, "flow_m3h")
    span = (others["flow_m3h_max"] - others["flow_m3h_min"]).to_numpy(dtype=float)
    return step > 0 and len(span) >= FLAT_HOURS and float(np.median(span)) >= LIVELY_STEPS * step * (1 - 1e-6)


def _head_moves(day: pd.DataFrame, flat: BoolArray) -> bool:
    if flat.sum() < FLAT_HOURS:
        return False
    count = day["n_trusted"].to_numpy(dtype=float)[flat]
    head = day["sum_h"].to_numpy(dtype=float)[flat] / count
    speed_2 = day["sum_n2"].to_numpy(dtype=float)[flat] / count
    terms = np.column_stack([np.ones(len(head)), speed_2 / speed_2.mean()])
    along = terms @ np.linalg.lstsq(terms, head, rcond=None)[0]
    scatter = np.sqrt(np.sum((head - along) ** 2) / (len(head) - 2)) / abs(head.mean() or np.inf)
    steps = (
        _STEP_SD * _step(day, channel) / max(float(day[f"{channel}_max"].max()), 1e-9)
        for channel in ("flow_m3h", "head_m")
    )
    return bool(scatter > SURE * np.sqrt(LEAST_HEAD_SCATTER**2 + sum(step**2 for step in steps)))


def _step(day: pd.DataFrame, channel: str) -> float:
    """Return the smallest difference of two values that the day showed, 0 where it showed only one."""
    shown = np.unique(day[[f"{channel}_min", f"{channel}_max"]].to_numpy(dtype=float))
    apart = np.diff(shown[np.isfinite(shown)])
    return float(apart[apart > 1e-9].min(initial=np.inf)) if (apart > 1e-9).any() else 0.0
