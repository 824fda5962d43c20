"""Counters: they grow, never fall, and keep pace with the power and the clock."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from api.proving.alternatives import SCALES, Alternative, scale_alternative, unit_alternatives
from api.proving.physics import RUNNING_RPM
from api.proving.proof import Proof, Verdict
from api.proving.readings_of_map import Points
from api.proving.samples import Sample
from api.proving.telling import Told
from api.proving.typed_map import TypedPoint
from collector.registers import Point

COUNTERS: Final = ("energy_kwh", "run_time_h", "starts")
PACE: Final = 0.15
"""How far a counter may be from the integrated power or the clock: meters of drives are rough (common
practice), and between readings power is taken as it was."""
LONGEST_GAP_S: Final = 900.0
"""Across a longer gap nothing is known of the power, and no pace is judged."""
RESET_SHARE: Final = 0.01
"""A counter that falls to less of itself than this was set back; any other fall is none of a counter."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """How much a counter grew, its step, and what it should have grown by, all in its own unit."""

    grew: float
    step: float
    due: float

    def fits(self, factor: float = 1.0) -> bool:
        """Return whether the growth, times a factor, is what was due within ``PACE`` and one step."""
        least, most = (self.grew - self.step) * factor, (self.grew + self.step) * factor
        return least <= self.due * (1 + PACE) and most >= self.due * (1 - PACE)

    @property
    def is_telling(self) -> bool:
        """Whether a factor of two would show: growth or what was due is some steps long."""
        return max(self.grew, self.due) >= 4 * self.step


def counter_proofs(
    typed: Mapping[str, TypedPoint], samples: Sequence[Sample], points: Points, told: Told
) -> list[Proof]:
    """Return the proofs of the counters. A single look cannot show growth, and says so."""
    return [_proof(each, samples, points, told) for each in typed.values()]


def _proof(typed: TypedPoint, samples: Sequence[Sample], points: Points, told: Told) -> Proof:
    name, point = typed.name, points[typed.name]
    seen = [
        (sample.time_utc_ms, value)
        for sample in samples
        if (value := sample.value_at(point)) is not None
    ]  # fmt: skip
    if not seen:
        return Proof(value=name, verdict=Verdict.OPEN, sentence="gave no value")
    now = told.amount(seen[-1][1], name)
    if not point.quantity.lowest <= seen[-1][1] <= point.quantity.highest:
        return Proof(value=name, verdict=Verdict.CHANGE, sentence=f"{now}: no counter stands so high")
    fall = next(((old, new) for (_, old), (_, new) in pairwise(seen) if new < old), None)
    if fall is not None and fall[1] > RESET_SHARE * fall[0]:
        words = f"fell from {told.amount(fall[0], name)} to {told.amount(fall[1], name)}: this is no counter"
        return Proof(value=name, verdict=Verdict.CHANGE, sentence=f"{words}; look up its register again")
    if fall is not None:
        return Proof(value=name, verdict=Verdict.OPEN, sentence=f"{now}; was set back meanwhile; check again")
    if name == "starts":
        return _starts_proof(now, seen, samples, points)
    return _pace_proof(typed, point, now, pace_of(point, samples, points), told)


def _starts_proof(
    now: str, seen: Sequence[tuple[int, float]], samples: Sequence[Sample], points: Points
) -> Proof:
    grew = seen[-1][1] - seen[0][1]
    started = _starts_seen(samples, points)
    if started and not grew:
        sentence = f"{now}, and did not grow at {started} starts that were seen; look up its register again"
        return Proof(value="starts", verdict=Verdict.CHANGE, sentence=sentence)
    if not started and not grew:
        sentence = f"{now}; no start was seen, and only one shows whether it counts them"
        return Proof(value="starts", verdict=Verdict.OPEN, sentence=sentence)
    pace = f"grew by {grew:.0f} with {started} starts seen"
    return Proof(value="starts", verdict=Verdict.HOLDS, sentence=f"{now}, {pace}")


def _starts_seen(samples: Sequence[Sample], points: Points) -> int:
    if "speed_rpm" not in points:
        return 0
    turns = [
        value > RUNNING_RPM
        for sample in samples
        if (value := sample.value_at(points["speed_rpm"])) is not None
    ]
    return sum(1 for before, after in pairwise(turns) if after and not before)


def pace_of(point: Point, samples: Sequence[Sample], points: Points) -> Pace | None:
    """Return a counter's growth and what was due meanwhile; ``None`` where nothing says what was due."""
    of = "power_w" if point.quantity.name == "energy_kwh" else "speed_rpm"
    if of not in points:
        return None
    grew = due = 0.0
    for one, other in pairwise(samples):
        seconds = (other.time_utc_ms - one.time_utc_ms) / 1000
        values = [sample.value_at(each) for sample in (one, other) for each in (point, points[of])]
        if seconds > LONGEST_GAP_S or None in values:
            continue
        before, first, after, second = (float(value or 0.0) for value in values)
        grew += after - before
        if of == "power_w":
            due += (first + second) / 2 * seconds / 3.6e6
        else:
            due += seconds / 3600 * ((first > RUNNING_RPM) + (second > RUNNING_RPM)) / 2
    return Pace(grew=grew, step=abs(point.factor), due=due)


def _pace_proof(typed: TypedPoint, point: Point, now: str, pace: Pace | None, told: Told) -> Proof:
    name = typed.name
    if pace is None or not pace.is_telling:
        return Proof(value=name, verdict=Verdict.OPEN, sentence=f"{now}; {_too_short(name, pace, told)}")
    due = "the power taken together" if name == "energy_kwh" else "the clock, while it ran,"
    words = f"{now}, grew by {pace.grew:.4g} {point.quantity.unit} where {due} gives {pace.due:.4g}"
    if pace.fits():
        return Proof(value=name, verdict=Verdict.HOLDS, sentence=words)
    ways = [each for each in _ways(typed) if pace.fits(each.points[name].factor / point.factor)]
    changes = tuple(change for each in ways for change in each.changes)
    if not changes and pace.grew:
        # Half as much again as due: power may be another pump's too. Nothing in the map explains it.
        return Proof(value=name, verdict=Verdict.OPEN, sentence=f"{words}; no unit or scale explains that")
    none = "" if changes else "; it stands still, so look up its register again"
    return Proof(value=name, verdict=Verdict.CHANGE, sentence=words + none, changes=changes)


def _ways(typed: TypedPoint) -> list[Alternative]:
    return [*unit_alternatives(typed), *(scale_alternative(typed, factor) for factor in SCALES)]


def _too_short(name: str, pace: Pace | None, told: Told) -> str:
    if pace is None:
        return "nothing is read that its pace could be held against"
    return f"its pace shows after some steps of {told.amount(pace.step, name)}: read on with --minutes"
