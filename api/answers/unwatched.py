"""What a pump is not watched for, for pages, programs and commands."""

from __future__ import annotations

from typing import Any

from api.analysis.pump_pass import curve_of
from api.analytics.states import not_watched
from api.answers.source import Source
from collector.site import Pump
from dashboards.views import Unwatched


def unwatched(source: Source, pump: Pump) -> tuple[Unwatched, ...]:
    """Return what a pump is not watched for as it stands, and why not; empty where all is watched."""
    facts = source.facts(pump)
    return tuple(
        Unwatched(
            kinds=tuple(str(kind) for kind in each.kinds),
            because=each.because,
            shorter_than_s=each.shorter_than_s,
        )
        for each in not_watched(curve_of(source.api_store, facts), facts)
    )


def plain_unwatched(source: Source, pump: str | None = None) -> list[dict[str, Any]]:
    """Return the same of one pump or all, as programs read it; ``shorter_than_s`` is a period [s]."""
    return [
        {
            "pump": each.name,
            "kinds": list(item.kinds),
            "because": item.because,
            "shorter_than_s": item.shorter_than_s,
        }
        for each in source.site.pumps
        if pump in (None, each.name)
        for item in unwatched(source, each)
    ]
