"""All proofs of one pump, in the order in which one mistake hides another."""

from __future__ import annotations

from collections.abc import Sequence

from api.proving.absent import absent_proofs
from api.proving.alternatives import Alternative
from api.proving.channel_proofs import Weighed, channel_proofs
from api.proving.counter_proofs import COUNTERS, counter_proofs
from api.proving.natural import better_orders, better_points, unnatural
from api.proving.other_proofs import other_proofs
from api.proving.physics import is_running
from api.proving.proof import Proof, Verdict
from api.proving.readings_of_map import Case, duty_of, middle
from api.proving.samples import Sample, spread
from api.proving.standing_still import still_proofs
from api.proving.stated import Stated
from api.proving.telling import Told
from api.proving.typed_map import TypedMap
from collector.quantities import QUANTITY_NAMES
from dashboards.views import UnitSystem

MOST_SAMPLES = 9
"""Moments that are weighed; more of them say no more of a unit."""


def prove(typed: TypedMap, samples: Sequence[Sample], stated: Stated, system: UnitSystem) -> list[Proof]:
    """Return a proof of each quantity of the map, in the order of ``collector.quantities``.

    ``samples`` are looks at the pump, times ascending. What must be changed is taken as changed for what
    follows from it, so that one mistake is told once.
    """
    told = Told(system=system)
    absent = absent_proofs(typed, samples)
    turned = _natural_proofs(typed, samples, stated, told)
    points = typed.as_read
    for proof, alternative in turned:
        points |= alternative.points if len(proof.changes) and proof.verdict is Verdict.CHANGE else {}
    settled = {name for proof, _ in turned for name in proof.value.split(", ")}
    missing = {proof.value for proof in absent} - settled
    running = [sample for sample in samples if is_running(duty_of(sample, points), stated)]
    case = Case(samples=spread(running, MOST_SAMPLES), stated=stated)
    weighed = Weighed(typed=typed, case=case, points=points, samples=samples, told=told)
    channels, points = channel_proofs(weighed, settled, missing)
    # What was missing may be there once the addresses count from the right end.
    absent = [proof for proof in absent if middle(samples, points, proof.value) is None]
    proofs = [*absent, *(proof for proof, _ in turned), *channels]
    settled |= {proof.value for proof in absent}
    done = settled | {name for proof in channels for name in proof.value.split(", ")}
    rest = {name: each for name, each in typed.points.items() if name not in done}
    proofs += counter_proofs({name: rest[name] for name in COUNTERS if name in rest}, samples, points, told)
    proofs += other_proofs(
        {name: each for name, each in rest.items() if name not in COUNTERS}, samples, points, stated, told
    )
    return in_order(still_proofs(proofs, running, points, told))


def in_order(proofs: Sequence[Proof]) -> list[Proof]:
    """Return proofs in the order of ``collector.quantities``."""
    return sorted(proofs, key=_place)


def _place(proof: Proof) -> int:
    first = proof.value.split(", ")[0]
    return QUANTITY_NAMES.index(first) if first in QUANTITY_NAMES else len(QUANTITY_NAMES)


def _natural_proofs(
    typed: TypedMap, samples: Sequence[Sample], stated: Stated, told: Told
) -> list[tuple[Proof, Alternative]]:
    """Return proofs of 32-bit values that no drive sends, each with the change taken as made."""
    if typed.is_import:
        return []
    kept = spread(samples, MOST_SAMPLES)
    whole = better_orders(typed, kept, stated)
    wrong = [name for name in QUANTITY_NAMES if name in unnatural(typed.as_read, kept, stated)]
    if whole:
        return [_turned(", ".join(wrong), whole, typed, kept, told)]
    proofs = []
    for name in wrong:
        better = better_points(typed.points[name], kept, stated)
        if better:
            proofs.append(_turned(name, better, typed, kept, told))
    return proofs


def _turned(
    value: str, ways: Sequence[Alternative], typed: TypedMap, samples: Sequence[Sample], told: Told
) -> tuple[Proof, Alternative]:
    name = value.split(", ")[0]
    sentence = told.unnatural(name, typed.points[name].point, samples, ways[0].points.get(name))
    changes = tuple(change for way in ways for change in way.changes)
    return Proof(value=value, verdict=Verdict.CHANGE, sentence=sentence, changes=changes), ways[0]
