"""A sample that does not go with the others: which one, and what may have been typed wrong."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from collector.matching.explain import Explanation
from collector.matching.panel import PanelValue
from collector.matching.places import raw_at
from collector.matching.samples import Sample
from collector.units import UNITS, units_of

_STEPS: Final = 2.0
"""So many steps of the panel a value may be off and still be what was meant."""


def mistyped_words(samples: Sequence[Sample], place: int, name: str, others: Explanation) -> str:
    """Return one line on the value of a sample that was left out; ``others`` is what explains the rest.

    ``place`` counts from 0, the words from 1, as a person does.
    """
    typed = samples[place].shown(name)
    if typed is None:
        raise ValueError(f"sample {place + 1} shows no {name}")
    held = _held(samples[place], others)
    words = f"sample {place + 1}: look at its {typed.quantity.words}, {typed.text}: "
    if held is None:
        return f"{words}it does not go with the other samples, and was left out"
    return (
        f"{words}the register that goes with the others held {_as_typed(held, typed)} then"
        f"{_guess(samples, place, typed, held)}; it was left out"
    )


def _held(sample: Sample, others: Explanation) -> float | None:
    """Return what the register held, in the unit of the quantity's name."""
    raws = [raw_at(others.place, image) for image in sample.images]
    known = [raw for raw in raws if raw is not None]
    if len(known) < len(raws) or not known:
        return None
    return sum(known) / len(known) * others.scale.factor + others.scale.offset


def _as_typed(held: float, typed: PanelValue) -> str:
    """Return a value as the panel would show it, in the unit that was typed."""
    unit = UNITS[typed.unit]
    decimals = max(0, -_power(typed.step))
    return f"{(held - unit.offset) / unit.factor:.{decimals}f} {typed.unit}".strip()


def _power(step: float) -> int:
    return int(f"{step:e}".partition("e")[2])


def _guess(samples: Sequence[Sample], place: int, typed: PanelValue, held: float) -> str:
    slack = _STEPS * typed.step
    for unit in units_of(typed.quantity.unit):
        meant = UNITS[unit]
        if (
            unit != typed.unit
            and abs(held - meant.offset - typed.number * meant.factor) <= slack * meant.factor
        ):
            return f", which is {typed.number:g} {unit}"
    for number, sample in enumerate(samples):
        shown = sample.shown(typed.quantity.name)
        if number != place and shown is not None and shown.text == typed.text:
            return f", and sample {number + 1} shows {typed.text} too: was it read late?"
    return ""
