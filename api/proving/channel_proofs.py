"""Speed, power, flow and head: held against each other, the rated values and the data sheet."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from api.proving.alternatives import alternatives, unit_alternatives
from api.proving.choosing import Explanation, explanations
from api.proving.physics import Doubt, Duty
from api.proving.proof import Proof, Verdict
from api.proving.readings_of_map import Case, Points
from api.proving.stated import Stated
from api.proving.telling import Told
from api.proving.typed_map import TypedMap
from collector.quantities import CHANNELS
from collector.registers import Point
from dashboards.display import listed

Names = Collection[str]

STANDS = "the pump stands still; let it run and check again"
BACKWARDS = (
    "; or the pump turns backwards (it still gives part of its head), is full of gas, or has a shut valve: "
    "look at the panel and the pump before the file"
)


def channel_proofs(
    typed: TypedMap, case: Case, points: Points, settled: Names, missing: Names, told: Told
) -> tuple[list[Proof], dict[str, Point]]:
    """Return the proofs of the four channels, and the points as they are to be read from here on.

    Of those ``settled`` nothing more is said, and of those ``missing`` only if a change brings them.
    """
    names = [name for name in CHANNELS if name in typed.points and name not in settled]
    read = [name for name in names if name not in missing]
    if not case.samples:
        return [Proof(value=name, verdict=Verdict.OPEN, sentence=STANDS) for name in read], dict(points)
    duty = case.duties(points)[len(case.samples) // 2]
    found = case.doubts(points)
    sure = {name: doubt for name, doubt in found.items() if doubt.is_sure}
    if not sure:
        asked = [doubt for doubt in found.values() if doubt.is_question]
        open_ones = [_question(doubt, duty, typed, case, points, told) for doubt in asked]
        questioned = {name for doubt in asked for name in doubt.channels}
        rest = [_unchallenged(name, duty, case.stated, told) for name in read if name not in questioned]
        return [*open_ones, *rest], dict(points)
    best = explanations(case, points, alternatives(typed, case.stated))
    return _challenged(names, best, sure, case, points, told, missing)


def _question(doubt: Doubt, duty: Duty, typed: TypedMap, case: Case, points: Points, told: Told) -> Proof:
    """Return what a sound pump may do, but seldom does: open, with the units that would make it usual."""
    units = [
        each
        for name in doubt.channels
        if name in typed.points
        for each in unit_alternatives(typed.points[name])
    ]
    usual = [
        each.alternative.changes[0].key + " " + each.alternative.changes[0].to
        for each in explanations(case, points, units)
        if not any(left.is_question for left in each.case.doubts(each.points).values())
    ]
    words = "right near a closed valve or on a very small pump"
    other = f"; else it may be {listed(usual, 'or')}" if usual else "; else look at the units"
    sentence = f"{told.doubt(doubt, duty, case.stated)}: {words}{other}"
    return Proof(value=", ".join(doubt.channels), verdict=Verdict.OPEN, sentence=sentence)


def _unchallenged(name: str, duty: Duty, stated: Stated, told: Told) -> Proof:
    if getattr(duty, name) is None:
        return Proof(value=name, verdict=Verdict.OPEN, sentence="gave no value in the middle of this look")
    sentence = told.holds(name, duty, stated)
    lacks = _lacks(name, duty, stated)
    verdict = Verdict.OPEN if lacks else Verdict.HOLDS
    return Proof(value=name, verdict=verdict, sentence=f"{sentence}{lacks}")


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
    case: Case,
    points: Points,
    told: Told,
    missing: Names,
) -> tuple[list[Proof], dict[str, Point]]:
    duty = case.duties(points)[len(case.samples) // 2]
    why = " and ".join(told.doubt(doubt, duty, case.stated) for doubt in list(sure.values())[:2])
    if not best:
        blamed = _blamed(sure, names)
        proofs = [_unexplained(blamed, why + (BACKWARDS if "sheet_head" in sure else ""))]
        return proofs + _rest(names, [*blamed, *missing], duty, case.stated, told), dict(points)
    blamed = [name for name in names if any(_moves(name, each, points) for each in best)]
    blamed = blamed or _blamed(sure, names)
    after = _after(best[0], told)
    hint = BACKWARDS if set(sure) == {"sheet_head"} else ""
    changes = tuple(dict.fromkeys(change for each in best for change in each.alternative.changes))
    first = Proof(
        value=", ".join(blamed),
        verdict=Verdict.CHANGE,
        sentence=f"{why}; {_which(best)}{after}{hint}",
        changes=changes,
    )
    new_duty = best[0].case.duties(best[0].points)[len(case.samples) // 2]
    rest = _rest(names, [*blamed, *missing], new_duty, best[0].case.stated, told)
    # Only where one change is left may later proofs lean on it.
    return [first, *rest], dict(best[0].points if len(best) == 1 else points)


def _moves(name: str, each: Explanation, points: Points) -> bool:
    return name in each.alternative.points and each.points[name] != points[name]


def _rest(names: list[str], blamed: list[str], duty: Duty, stated: Stated, told: Told) -> list[Proof]:
    return [_unchallenged(name, duty, stated, told) for name in names if name not in blamed]


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
