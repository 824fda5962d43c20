"""Speed, power, flow and head: held against each other, the rated values and the data sheet."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from api.proving.alternatives import alternatives, unit_alternatives
from api.proving.choosing import Explanation, explanations
from api.proving.physics import Doubt, Duty
from api.proving.proof import Proof, Verdict
from api.proving.readings_of_map import Case, Points
from api.proving.rivals import rivals
from api.proving.samples import Sample
from api.proving.stated import Stated
from api.proving.telling import PANEL_TELLS, Told
from api.proving.typed_map import TypedMap
from collector.quantities import CHANNELS
from collector.registers import Point
from dashboards.display import listed

Names = Collection[str]

STANDS = "the pump stands still; let it run and check again"
UNKNOWN = "neither speed nor power is known, so nothing tells whether the pump runs"
BACKWARDS = (
    "; or the pump turns backwards (it still gives part of its head), is full of gas, or has a shut valve: "
    "look at the panel and the pump before the file"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighed:
    """What the channels are judged by: the map, the moments that are weighed, and all samples there are."""

    typed: TypedMap
    case: Case
    points: Points
    samples: Sequence[Sample]
    told: Told

    @property
    def duty(self) -> Duty:
        """Return the moment in the middle."""
        return self.case.duties(self.points)[len(self.case.samples) // 2]

    def so(self, each: Explanation) -> Weighed:
        """Return the same with a change made."""
        return replace(self, case=each.case, points=each.points)


def channel_proofs(weighed: Weighed, settled: Names, missing: Names) -> tuple[list[Proof], dict[str, Point]]:
    """Return the proofs of the four channels, and the points as they are to be read from here on.

    Of those ``settled`` nothing more is said, and of those ``missing`` only if a change brings them.
    """
    names = [name for name in CHANNELS if name in weighed.typed.points and name not in settled]
    read = [name for name in names if name not in missing]
    points = dict(weighed.points)
    if not weighed.case.samples:
        # A pump whose speed and power nobody knows is not said to stand.
        is_known = any(
            each.value_at(points[name]) is not None
            for name in ("speed_rpm", "power_w")
            if name in points
            for each in weighed.samples
        )
        sentence = STANDS if is_known else UNKNOWN
        return [Proof(value=name, verdict=Verdict.OPEN, sentence=sentence) for name in read], points
    found = weighed.case.doubts(points)
    sure = {name: doubt for name, doubt in found.items() if doubt.is_sure}
    if not sure:
        asked = [doubt for doubt in found.values() if doubt.is_question or doubt.is_in_between]
        questioned = {name for doubt in asked for name in doubt.channels}
        rest = [_unchallenged(name, weighed) for name in read if name not in questioned]
        return [*(_question(doubt, weighed) for doubt in asked), *rest], points
    best = explanations(weighed.case, points, alternatives(weighed.typed, weighed.case.stated))
    return _challenged(names, best, sure, weighed, missing)


def _question(doubt: Doubt, weighed: Weighed) -> Proof:
    """Return what a sound pump may do, but seldom does: open, with the units that would make it usual."""
    units = [
        each
        for name in doubt.channels
        if name in weighed.typed.points
        for each in unit_alternatives(weighed.typed.points[name])
    ]
    usual = [
        each.alternative.changes[0].key + " " + each.alternative.changes[0].to
        for each in explanations(weighed.case, weighed.points, units)
        if not any(left.is_question for left in each.case.doubts(each.points).values())
    ]
    words = f"{weighed.told.doubt(doubt, weighed.duty, weighed.case.stated)}: {_SELDOM[doubt.is_physical]}"
    other = f"; else it may be {listed(usual, 'or')}" if usual else "; else look at the units"
    return Proof(value=", ".join(doubt.channels), verdict=Verdict.OPEN, sentence=f"{words}{other}")


_SELDOM: Final = {
    False: "right near a closed valve or on a very small pump",
    True: "right only if flow, head or power is reported some per cent off",
}


def _unchallenged(name: str, weighed: Weighed) -> Proof:
    if getattr(weighed.duty, name) is None:
        return Proof(value=name, verdict=Verdict.OPEN, sentence="gave no value in the middle of this look")
    lacks = _lacks(name, weighed.duty, weighed.case.stated) or _or_else(name, weighed)
    verdict = Verdict.OPEN if lacks else Verdict.HOLDS
    sentence = weighed.told.holds(name, weighed.duty, weighed.case.stated)
    return Proof(value=name, verdict=verdict, sentence=f"{sentence}{lacks}")


def _or_else(name: str, weighed: Weighed) -> str:
    """Return what else the registers may say, empty when nothing else can be."""
    found = rivals(name, weighed.typed, weighed.case, weighed.points, weighed.samples)
    if not found:
        return ""
    shown = [weighed.told.rival(name, each, weighed.case.samples) for each in found]
    return f"; could as well be {listed(shown, 'or')}: {PANEL_TELLS}"


def _lacks(name: str, duty: Duty, stated: Stated) -> str:
    """Return what is missing to hold a channel against anything."""
    if name == "speed_rpm" and stated.rated_speed_rpm is None:
        return "; state rated_speed_rpm to hold it against"
    has_balance = duty.efficiency(stated.density_kg_m3) is not None
    if name == "power_w" and stated.rated_power_w is None and not has_balance:
        return "; state rated_power_w to hold it against"
    if name in ("flow_m3h", "head_m") and not has_balance:
        return "; without power, flow and head together above zero there is nothing to hold it against"
    return ""


def _challenged(
    names: list[str],
    best: list[Explanation],
    sure: Mapping[str, Doubt],
    weighed: Weighed,
    missing: Names,
) -> tuple[list[Proof], dict[str, Point]]:
    duty, stated, points = weighed.duty, weighed.case.stated, weighed.points
    why = " and ".join(weighed.told.doubt(doubt, duty, stated) for doubt in list(sure.values())[:2])
    if not best:
        blamed = _blamed(sure, names)
        proofs = [_unexplained(blamed, why + (BACKWARDS if "sheet_head" in sure else ""))]
        return proofs + _rest(names, [*blamed, *missing], weighed), dict(points)
    blamed = [name for name in names if any(_moves(name, each, points) for each in best)]
    blamed = blamed or _blamed(sure, names)
    after = _after(best[0], weighed.told)
    hint = BACKWARDS if set(sure) == {"sheet_head"} else ""
    changes = tuple(dict.fromkeys(change for each in best for change in each.alternative.changes))
    first = Proof(
        value=", ".join(blamed),
        verdict=Verdict.CHANGE,
        sentence=f"{why}; {_which(best)}{after}{hint}",
        changes=changes,
    )
    rest = _rest(names, [*blamed, *missing], weighed.so(best[0]))
    # Only where one change is left may later proofs lean on it.
    return [first, *rest], dict(best[0].points if len(best) == 1 else points)


def _moves(name: str, each: Explanation, points: Points) -> bool:
    return name in each.alternative.points and each.points[name] != points[name]


def _rest(names: list[str], blamed: list[str], weighed: Weighed) -> list[Proof]:
    return [_unchallenged(name, weighed) for name in names if name not in blamed]


def _blamed(sure: Mapping[str, Doubt], names: list[str]) -> list[str]:
    met = {channel for doubt in sure.values() for channel in doubt.channels}
    return [name for name in names if name in met]


def _unexplained(blamed: list[str], why: str) -> Proof:
    return Proof(
        value=", ".join(blamed),
        verdict=Verdict.CHANGE,
        sentence=f"{why}; no single change explains it, so hold each value against the drive's panel",
    )


def _which(best: list[Explanation]) -> str:
    if len(best) == 1:
        return "with the change below "
    return f"{len(best)} changes would explain it, and the drive's panel tells which; with the first "


def _after(best: Explanation, told: Told) -> str:
    names = [name for name in CHANNELS if name in best.alternative.points]
    values = [(name, best.case.middle(best.points, name)) for name in names]
    shown = [told.amount(value, name) for name, value in values if value is not None]
    return f"it reads {', '.join(shown)}" if shown else "all agrees"
