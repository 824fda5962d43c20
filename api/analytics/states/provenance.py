"""Whether flow and head are what they are declared to be: measured, or computed from speed and power.

A drive that estimates computes flow from speed and power, and head from speed and flow, so that head lies
on a smooth surface over speed and flow but for the steps in which they are reported. A sensor adds noise
and drift of its own. Nothing is said where the steps hide the difference, or where readings as quiet as a
computation drift from day to day: neither declaration is contradicted then.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from api.analytics.facts import Provenance, PumpFacts
from api.analytics.finding import Cause, Evidence, Finding, Kind, Priority
from api.analytics.spans import DAY_MS
from api.analytics.states.beyond_steps import BothAccounts, Floats, both_accounts, daily_levels
from api.analytics.trusted import trusted

_MOST_READINGS: Final = 3000
_FEWEST_READINGS: Final = 400
_SURE: Final = 6.0
"""By how much one account must be likelier than the other, as a logarithm: 400 times (tuned)."""

_DELAYS: Final = (0, 1)
"""Readings by which head may be late: a drive renews its registers in turn."""
_NEAR_INTERVALS: Final = 1.5

_USUAL_STEP_M: Final = 0.1
_COARSE_UNITS_M: Final = (1.0, 0.3048, 0.7031, 1.0197)
"""A metre, a foot, a pound a square inch and a tenth of a bar, as head of water."""
_FEWEST_COUNTS: Final = 20
"""Nobody shows a head in a unit that it is not even twenty of (common practice)."""


def provenance_check(frame: pd.DataFrame, facts: PumpFacts) -> list[Finding]:
    """Return a ``not_assessable`` finding if the readings contradict the declared provenance.

    ``frame`` holds some days or more of one pump's readings (index ``time_utc_ms``). Head that is declared
    measured must scatter over speed and flow by more than the steps explain; declared estimated, it must
    not. Too few readings, or steps too coarse to tell, give no finding. It warns of a wrong setting and is
    no proof: an estimate made from other signals than the reported ones looks measured.
    """
    by_delay = [_picked(_delayed(frame, readings), facts) for readings in _DELAYS]
    told = [_contradicting_ratio(each, facts) for each in by_delay if len(each) >= _FEWEST_READINGS]
    ratios = [ratio for ratio in told if ratio is not None]
    if not _is_called_measured(facts):
        # What follows speed and power, at once or one reading later, is computed: no sensor does either.
        ratios = ratios if len(ratios) == len(told) else []
    return [_finding(frame, facts, min(ratios))] if ratios else []


def _delayed(frame: pd.DataFrame, readings: int) -> pd.DataFrame:
    """Return the frame with head beside the other channels of so many readings before; none across a gap."""
    if readings == 0 or len(frame) < 2:
        return frame
    others = ["speed_rpm", "flow_m3h", "power_w"]
    before = frame[others].shift(readings)
    apart_ms = np.diff(frame.index.to_numpy(dtype=np.float64), prepend=-np.inf)
    near = apart_ms <= _NEAR_INTERVALS * max(float(np.median(apart_ms)), 1.0)
    return frame.assign(**{name: before[name] for name in others})[near]


def _picked(frame: pd.DataFrame, facts: PumpFacts) -> pd.DataFrame:
    """Return at most ``_MOST_READINGS`` readings, evenly chosen from those that may judge a curve."""
    good = np.zeros(0, dtype=np.intp)
    if len(frame):
        above_zero = (frame[["head_m", "power_w"]].to_numpy(dtype=float) > 0).all(axis=1)
        good = np.flatnonzero(trusted(frame, facts) & above_zero)
    if len(good) > _MOST_READINGS:
        good = good[np.linspace(0, len(good) - 1, _MOST_READINGS).astype(np.intp)]
    return frame.iloc[good]


def _contradicting_ratio(picked: pd.DataFrame, facts: PumpFacts) -> float | None:
    """Return the scatter over that of the steps that contradicts what is declared, None if none does."""
    if facts.flow is facts.head is Provenance.MEASURED:
        return _if_computed(picked, "head_m", "flow_m3h")
    if facts.flow is facts.head is Provenance.ESTIMATED:
        return _if_sensed(_accounts(picked, "head_m", "flow_m3h"))
    # Of one measured channel only its being computed from power contradicts: flow may rightly be computed
    # from a measured head, and the power that a drive computes with may be rougher than the one it reports.
    if facts.head is Provenance.MEASURED:
        return _if_computed(picked, "head_m", "power_w")
    if facts.flow is Provenance.MEASURED:
        return _if_computed(picked, "flow_m3h", "power_w")
    return None


def _accounts(picked: pd.DataFrame, name: str, over: str) -> BothAccounts:
    values, speed, other = _three(picked, name, over)
    return both_accounts(name, values, speed, over, other, _step_if_held(name, values))


def _drifts(picked: pd.DataFrame, name: str, over: str) -> bool:
    values, speed, other = _three(picked, name, over)
    day = picked.index.to_numpy(dtype=np.int64) // DAY_MS
    held = _step_if_held(name, values)
    return daily_levels(name, values, speed, over, other, day, held).has_drifted


def _three(picked: pd.DataFrame, name: str, over: str) -> tuple[Floats, Floats, Floats]:
    return (
        picked[name].to_numpy(dtype=float),
        picked["speed_rpm"].to_numpy(dtype=float),
        picked[over].to_numpy(dtype=float),
    )


def _step_if_held(name: str, values: Floats) -> float:
    return _step_if_held_m(float(values[0])) if name == "head_m" else 0.0


def _step_if_held_m(head_m: float) -> float:
    """Return the step of a head that never leaves it: a tenth of a metre (common practice) at most.

    0 (unknown) if the head is a whole number of a coarser unit, since it may be shown in that.

    >>> _step_if_held_m(6.0), _step_if_held_m(25.0)
    (0.1, 0.0)
    """
    counts = np.array([head_m / unit for unit in _COARSE_UNITS_M])
    whole = np.abs(counts - np.rint(counts)) < 3e-4 * counts
    return 0.0 if (whole & (counts >= _FEWEST_COUNTS)).any() else _USUAL_STEP_M


def _if_computed(picked: pd.DataFrame, name: str, over: str) -> float | None:
    # A false doubt silences wear, so the sensor is given its best chance.
    told = _accounts(picked, name, over)
    sure = told.steps_known and told.computed - told.sensed_at_most > _SURE
    return told.over_steps if sure and not _drifts(picked, name, over) else None


def _if_sensed(told: BothAccounts) -> float | None:
    sure = told.steps_known and told.input_steps_known and told.sensed - told.computed > _SURE
    return told.over_steps if sure else None


def _is_called_measured(facts: PumpFacts) -> bool:
    """Return whether the contradicted claim is that of a sensor: the readings then look computed."""
    return Provenance.MEASURED in (facts.flow, facts.head)


def _finding(frame: pd.DataFrame, facts: PumpFacts, ratio: float) -> Finding:
    return Finding(
        pump=facts.pump,
        kind=Kind.NOT_ASSESSABLE,
        first_utc_ms=int(frame.index[0]),
        last_utc_ms=int(frame.index[-1]),
        active=True,
        priority=Priority.INFORMATION,
        causes=(Cause(names=("provenance_contradicted",), weight=0.95),),
        evidence=(
            Evidence(name="scatter_over_quantisation", value=ratio),
            Evidence(name="looks_computed", value=float(_is_called_measured(facts))),
        ),
        checks=("declare_provenance",),
    )
