"""Finding drives by reading only, and telling from their answers what the wires look like."""

from collector.survey.plan import LIKELY_SETTINGS, SurveyPlan
from collector.survey.result import SettingSurvey, Timing, UnitFound
from collector.survey.survey import Progress, survey
from collector.survey.units import parse_units
from collector.survey.wiring import Trouble, TroubleKind

__all__ = [
    "LIKELY_SETTINGS",
    "Progress",
    "SettingSurvey",
    "SurveyPlan",
    "Timing",
    "Trouble",
    "TroubleKind",
    "UnitFound",
    "parse_units",
    "survey",
]
