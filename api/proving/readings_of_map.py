"""A map as it stands, or changed: what the samples say when read by it."""

from __future__ import annotations

import statistics
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from api.proving.physics import Doubt, Duty, doubts
from api.proving.samples import Sample
from api.proving.stated import Stated
from collector.quantities import CHANNELS
from collector.registers import Point

Points = Mapping[str, Point]


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """Samples of a running pump, and what is stated of it."""

    samples: Sequence[Sample]
    stated: Stated

    def duties(self, points: Points) -> list[Duty]:
        """Return the moments as these points read them."""
        return [duty_of(sample, points) for sample in self.samples]

    def doubts(self, points: Points) -> dict[str, Doubt]:
        """Return the doubts by name, each as wide as in the middle moment: one odd reading is no proof."""
        met: dict[str, list[Doubt]] = {}
        for duty in self.duties(points):
            for doubt in doubts(duty, self.stated):
                met.setdefault(doubt.name, []).append(doubt)
        found = {}
        for name, each in met.items():
            widths = [doubt.widths for doubt in each] + [0.0] * (len(self.samples) - len(each))
            middle = statistics.median(widths)
            if middle > 0:
                found[name] = replace(each[0], widths=middle)
        return found

    def middle(self, points: Points, name: str) -> float | None:
        """Return the middle value of a quantity, ``None`` when no sample has one."""
        return middle(self.samples, points, name)


def middle(samples: Sequence[Sample], points: Points, name: str) -> float | None:
    """Return the middle value of a quantity over samples, ``None`` when none has one."""
    if name not in points:
        return None
    values = [value for sample in samples if (value := sample.value_at(points[name])) is not None]
    return statistics.median(values) if values else None


def duty_of(sample: Sample, points: Points) -> Duty:
    """Return the four channels of a sample as these points read it."""
    return Duty(**{name: sample.value_at(points[name]) for name in CHANNELS if name in points})
