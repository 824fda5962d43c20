"""What may be believed of a pump now: as declared, unless its readings contradict that."""

from __future__ import annotations

from api.analysis.provenance_look import in_doubt, says_contradicted
from api.analytics.facts import PumpFacts
from api.answers.source import Source
from api.store.stored_finding import State
from collector.site import Pump


def is_doubted(source: Source, pump: Pump) -> bool:
    """Return whether the finding stands that the readings contradict the declared origin of flow and head."""
    active = source.api_store.findings(pump.name, [State.ACTIVE])
    return any(says_contradicted(item.finding) for item in active)


def believed(source: Source, pump: Pump) -> PumpFacts:
    """Return the facts by which wear may be told: flow and head of unknown origin while in doubt."""
    facts = source.facts(pump)
    return in_doubt(facts) if is_doubted(source, pump) else facts
