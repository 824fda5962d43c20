"""Values that never change while the pump does: a limit or a setpoint was taken for a reading."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from api.proving.proof import Proof, Verdict
from api.proving.readings_of_map import Points
from api.proving.samples import Sample
from api.proving.telling import Told

FEWEST: Final = 20
MOVED: Final = 0.05
"""Speed moves the power by three times this, far beyond any step."""
_HELD: Final = {
    "flow_m3h": "right where the flow is held constant, or far below its meter's step",
    "head_m": "right where the pressure is held constant",
}


def still_proofs(
    proofs: Sequence[Proof], running: Sequence[Sample], points: Points, told: Told
) -> list[Proof]:
    """Return the proofs, with those taken back that never changed while the speed did.

    Power must follow speed. Flow or head may be held by the control, so these become open, not wrong.
    """
    speeds = _values(running, points, "speed_rpm")
    if len(speeds) < FEWEST or max(speeds) - min(speeds) <= MOVED * max(speeds):
        return list(proofs)
    share = f"{100 * (1 - min(speeds) / max(speeds)):.0f} %"
    return [_judged(proof, _values(running, points, proof.value), share, told) for proof in proofs]


def _values(samples: Sequence[Sample], points: Points, name: str) -> list[float]:
    if name not in points:
        return []
    return [value for sample in samples if (value := sample.value_at(points[name])) is not None]


def _judged(proof: Proof, values: Sequence[float], share: str, told: Told) -> Proof:
    if proof.verdict is Verdict.CHANGE or len(values) < FEWEST or min(values) < max(values):
        return proof
    name = proof.value
    words = (
        f"stayed at {told.amount(values[0], name)} in {len(values)} readings while the speed moved by {share}"
    )
    if name == "power_w":
        sentence = f"{words}: this is a limit or a setpoint, so look up its register again"
        return replace(proof, verdict=Verdict.CHANGE, sentence=sentence)
    if name in _HELD:
        return replace(
            proof,
            verdict=Verdict.OPEN,
            sentence=f"{words}: {_HELD[name]}, else a setpoint was taken for the reading",
        )
    return proof
