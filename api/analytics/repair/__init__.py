"""What a recorded piece of work did to a pump: days before against days since, like for like."""

from api.analytics.repair.effect import STOOD_MS, WorkEffect, Works, effect_of_work
from api.analytics.repair.outcome import Answered, Verdict
from api.analytics.repair.quantities import Measured, Quantity
from api.analytics.repair.stretch import Stretch, stretch_of

__all__ = [
    "STOOD_MS",
    "Answered",
    "Measured",
    "Quantity",
    "Stretch",
    "Verdict",
    "WorkEffect",
    "Works",
    "effect_of_work",
    "stretch_of",
]
