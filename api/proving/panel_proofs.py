"""What the drive's panel shows, held against what its registers say: the surest proof of a unit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from api.proving.alternatives import SCALES, Alternative, scale_alternative, unit_alternatives
from api.proving.proof import Proof, Verdict
from api.proving.prove import in_order
from api.proving.samples import Sample
from api.proving.telling import MOST_TOLD, Told
from api.proving.typed_map import TypedMap, TypedPoint
from collector.matching import PanelValue

DRIFT: Final = 0.1
"""How far a value moves [-] between a look at the panel and the reading; kilowatts and horsepower, the two
units that lie nearest, are a quarter apart."""

SHOWS_THE_SAME: Final = "the panel shows the same, so look at the pump and the site file first"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Seen:
    shown: PanelValue
    typed: TypedPoint
    sample: Sample

    @property
    def name(self) -> str:
        return self.typed.name

    def read(self, way: Alternative | None = None) -> float | None:
        """Return what the registers say, as typed or after a change."""
        return self.sample.value_at(self.typed.point if way is None else way.points[self.name])

    def agrees(self, way: Alternative | None = None) -> bool:
        """Return whether the registers say what the panel shows, within its last digit and a little drift."""
        value = self.read(way)
        slack = self.shown.step_in_base / 2 + DRIFT * abs(self.shown.value)
        return value is not None and abs(value - self.shown.value) <= slack

    def agreeing(self) -> list[Alternative]:
        """Return the changes after which both agree."""
        ways = [
            *unit_alternatives(self.typed),
            *(scale_alternative(self.typed, factor) for factor in SCALES),
        ]
        return [each for each in ways if self.agrees(each)]


def panel_proofs(
    proofs: Sequence[Proof], typed: TypedMap, sample: Sample, panel: Sequence[PanelValue], told: Told
) -> list[Proof]:
    """Return the proofs with what the panel decides; ``sample`` is the look nearest to when it was typed.

    What the panel shows as typed holds, unless a limit that no pump passes speaks against it: then the site
    file or the pump is to be looked at. What it shows otherwise must be changed, or is open where no unit or
    scale makes both the same.
    """
    seen = [
        _Seen(shown=each, typed=typed.points[each.quantity.name], sample=sample)
        for each in panel
        if each.quantity.name in typed.points
    ]
    decided = {each.name: proof for each in seen if (proof := _decided(each, told)) is not None}
    kept = [left for proof in proofs if (left := _left(proof, decided)) is not None]
    said = {name for proof in kept for name in proof.value.split(", ")}
    return in_order([*(proof for name, proof in decided.items() if name not in said), *kept])


def _decided(seen: _Seen, told: Told) -> Proof | None:
    """Return the panel's word on a value; ``None`` where it shows nothing that would tell units apart."""
    value = seen.read()
    if value is None:
        return None
    shown = f"{told.amount(value, seen.name)}, and the panel shows {seen.shown.text}"
    others = seen.agreeing()
    if seen.agrees():
        return None if others else Proof(value=seen.name, verdict=Verdict.HOLDS, sentence=shown)
    if others:
        changes = tuple(change for each in others[:MOST_TOLD] for change in each.changes)
        return Proof(value=seen.name, verdict=Verdict.CHANGE, sentence=shown, changes=changes)
    sentence = f"{shown}; look at both at the same moment, else another register was taken"
    return Proof(value=seen.name, verdict=Verdict.OPEN, sentence=sentence)


def _left(proof: Proof, decided: Mapping[str, Proof]) -> Proof | None:
    """Return what remains of a proof beside the panel's word, ``None`` when nothing does."""
    names = proof.value.split(", ")
    held = [name for name in names if name in decided and decided[name].holds]
    if proof.verdict is Verdict.CHANGE and held:
        changes = tuple(each for each in proof.changes if each.key.split(" ")[0] not in held)
        return replace(proof, sentence=f"{proof.sentence}; {SHOWS_THE_SAME}", changes=changes)
    others = [name for name in names if name not in decided]
    return replace(proof, value=", ".join(others)) if others else None
