"""Whether typed panels can be a pump's at all: a wrong digit or unit is found here."""

from __future__ import annotations

from collections.abc import Callable, Container, Sequence
from dataclasses import replace
from typing import Final

from collector.matching.panel import PanelValue
from collector.matching.samples import Sample
from collector.units import REFERENCE_DENSITY_KG_M3, STANDARD_GRAVITY_M_S2

_MAY_DIFFER: Final = 5.0
"""Power over speed cubed and head over speed squared change with the duty, but not so many times (common
practice; the affinity laws of ISO 9906 hold them constant at one duty)."""


def doubts(samples: Sequence[Sample], left_out: Container[int] = ()) -> list[str]:
    """Return a sentence for each typed panel that no pump could show, but for samples known to be wrong.

    Hydraulic power is density times g times flow times head (ISO 17769-1, from memory), and must stay below
    what the drive takes in.
    """
    samples = [
        replace(sample, panel=()) if place in left_out else sample for place, sample in enumerate(samples)
    ]
    found = [words for number, sample in enumerate(samples, 1) for words in _more_out_than_in(number, sample)]
    for name, power, law in (("power_w", 3, "speed cubed"), ("head_m", 2, "speed squared")):
        found += _against_affinity(samples, name, power, law)
    return found


def _more_out_than_in(number: int, sample: Sample) -> list[str]:
    flow, head, power = (sample.shown(name) for name in ("flow_m3h", "head_m", "power_w"))
    if flow is None or head is None or power is None:
        return []
    water_w = REFERENCE_DENSITY_KG_M3 * STANDARD_GRAVITY_M_S2 * flow.value / 3600 * head.value
    if water_w <= power.value + power.step_in_base:
        return []
    return [
        f"sample {number}: {flow.text} at {head.text} takes {water_w:,.0f} W, more than the "
        f"{power.text} that were typed: look at the units and digits"
    ]


def _against_affinity(samples: Sequence[Sample], name: str, power: int, law: str) -> list[str]:
    pairs = [
        (number, value, value.value / speed.value**power)
        for number, sample in enumerate(samples, 1)
        if (value := sample.shown(name)) and (speed := sample.shown("speed_rpm")) and speed.value > 0
    ]
    usable = [pair for pair in pairs if pair[2] > 0]
    if len(usable) < 2:
        return []
    ratio: Callable[[tuple[int, PanelValue, float]], float] = lambda pair: pair[2]  # noqa: E731
    least, most = min(usable, key=ratio), max(usable, key=ratio)
    if most[2] <= _MAY_DIFFER * least[2]:
        return []
    return [
        f"samples {least[0]} and {most[0]}: {least[1].text} and {most[1].text} do not go with {law}: look at "
        "the digits, and at whether the pump was steady"
    ]
