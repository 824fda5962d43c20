"""Quantities of which nothing came: refused, unanswered, or marked by the drive as no reading."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from api.proving.proof import Change, Proof, Verdict
from api.proving.samples import Sample
from api.proving.typed_map import TypedMap, TypedPoint
from collector.reading import Quality

_NOT_HEARD = (
    "was never heard: the other master does not read it, or its answer could as well belong to another read "
    "of the same length; owncurve listen shows what it reads"
)


def absent_proofs(typed: TypedMap, samples: Sequence[Sample]) -> list[Proof]:
    """Return a proof of each quantity that no sample has registers or a value of."""
    if typed.is_import:
        return []
    return [
        _proof(each, samples, typed)
        for each in typed.points.values()
        if samples and all(sample.value_at(each.point) is None for sample in samples)
    ]


def _proof(typed: TypedPoint, samples: Sequence[Sample], whole: TypedMap) -> Proof:
    reasons = Counter(sample.qualities.get(typed.name, Quality.GOOD) for sample in samples)
    reason, _ = reasons.most_common(1)[0]
    where = f"{typed.point.table} register {typed.point.address + typed.counting_from}"
    if samples[-1].is_heard:
        return Proof(value=typed.name, verdict=Verdict.OPEN, sentence=f"{where} {_NOT_HEARD}")
    if reason is Quality.REFUSED:
        other = "zero-based" if whole.counting == "one-based" else "one-based"
        change = Change(place=typed.place, key=typed.key("address"), now=where, to="another register")
        return Proof(
            value=typed.name,
            verdict=Verdict.CHANGE,
            sentence=(
                f"the drive has no {where} and refuses it; look in the manual for the address, for input or "
                f"holding, and whether it counts {other}"
            ),
            changes=(change,),
        )
    return Proof(value=typed.name, verdict=Verdict.OPEN, sentence=_why(reason, where))


def _why(reason: Quality, where: str) -> str:
    if reason is Quality.NO_REPLY:
        return (
            f"{where} was not answered, though others of this drive were; ask again, then shorten max_block"
        )
    if reason is Quality.IMPOSSIBLE:
        return (
            f"{where} holds what no pump can be, and what it held was not kept; stop polling and check again"
        )
    if reason is Quality.NO_VALUE:
        return f"{where} holds the mark for no reading; the drive may measure it only while it runs, or never"
    return f"nothing was read of {where}"
