"""Slow findings: head lost against the pump's own curve, power shifted, and what cannot be judged."""

from __future__ import annotations

import pandas as pd

from api.analytics.curve import Curve
from api.analytics.facts import PumpFacts
from api.analytics.finding import INFORMATION_KINDS, Finding
from api.analytics.slow_look import SlowLook
from api.analytics.verdicts import Alarm


def slow_findings(hours: pd.DataFrame, curve: Curve | None, facts: PumpFacts) -> list[Finding]:
    """Return every slow finding of one pump, oldest first: a pure function of what is given.

    ``hours`` are rows of :func:`api.analytics.hours.hour_rows` in order, ``curve`` what
    :func:`api.analytics.curve.learn_curve` made of them. Without measured flow and head no wear is ever
    claimed; what cannot be judged is always said. ``first_utc_ms`` of a finding is the start of the day of
    change. Only rows since the last event with ``new_baseline`` count.
    """
    return whole_look(hours, curve, facts).findings()


def head_alarms(hours: pd.DataFrame, curve: Curve | None, facts: PumpFacts) -> list[Alarm]:
    """Return when a change of head was first raised and how long it stood, day by day, from the past alone.

    This is the back-test: the same engine as :func:`slow_findings`, with the day each alarm was raised.
    An alarm that turned out to be the fluid is left out, as there.
    """
    told = whole_look(hours, curve, facts).losses()
    return [each.alarm for each in told if each.finding and each.finding.kind not in INFORMATION_KINDS]


def every_alarm(hours: pd.DataFrame, curve: Curve | None, facts: PumpFacts) -> list[Alarm]:
    """Return the alarms of head and of power whatever they turned out to be, the fluid among them."""
    look = whole_look(hours, curve, facts)
    return [each.alarm for each in (*look.losses(), *look.shifts())]


def whole_look(hours: pd.DataFrame, curve: Curve | None, facts: PumpFacts) -> SlowLook:
    """Return a look that has taken all these hours."""
    look = SlowLook(
        curve, facts, lambda start, end: hours.iloc[slice(*hours.index.searchsorted([start, end]))]
    )
    look.take(hours)
    return look
