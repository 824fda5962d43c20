"""What the site file declares of a pump beside its registers: provenance, and a map at all."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import pandas as pd

from api.analytics.facts import Provenance, PumpFacts
from api.analytics.states import provenance_check
from api.proving.proof import Change, Proof, Verdict
from collector.site import Pump

FEWEST_READINGS: Final = 400
"""So many that the check of provenance looks at them at all."""


def provenance_proof(frame: pd.DataFrame, facts: PumpFacts, place: str) -> Proof | None:
    """Return whether the readings agree with the declared provenance; ``None`` while nothing can be said.

    It holds only where the readings would contradict the opposite; open where they fit both.
    ``frame`` holds some days of readings (index ``time_utc_ms``); ``place`` is the line of the declaration.
    """
    found = provenance_check(frame, facts) if len(frame) >= FEWEST_READINGS else []
    stated = f"flow {facts.flow.value}, head {facts.head.value}"
    if found:
        measured = facts.flow.value == "measured" or facts.head.value == "measured"
        to = "estimated" if measured else "measured"
        change = Change(
            place=place, key="provenance", now=stated, to=f'flow = "{to}", head = "{to}", or "unknown"'
        )
        return Proof(value="provenance", verdict=Verdict.CHANGE, sentence=_why(to), changes=(change,))
    if len(frame) < FEWEST_READINGS or stated == "flow unknown, head unknown":
        return None
    if _would_be_contradicted(frame, facts):
        words = f"{stated}: {len(frame):,} readings are so, and would contradict the other"
        return Proof(value="provenance", verdict=Verdict.HOLDS, sentence=words)
    words = (
        f"{stated}: {len(frame):,} readings do not contradict it, nor would they contradict the other; steps "
        "too coarse or a duty that hardly moves hide the difference, so the manual must say"
    )
    return Proof(value="provenance", verdict=Verdict.OPEN, sentence=words)


def _would_be_contradicted(frame: pd.DataFrame, facts: PumpFacts) -> bool:
    """Return whether the readings speak against the opposite of what is declared, where that is one thing."""
    opposite = _OPPOSITE.get(facts.head)
    if opposite is None or facts.flow is not facts.head:
        return False
    return bool(provenance_check(frame, replace(facts, flow=opposite, head=opposite)))


_OPPOSITE: Final = {
    Provenance.MEASURED: Provenance.ESTIMATED,
    Provenance.ESTIMATED: Provenance.MEASURED,
}


def provenance_note(pump: Pump, readings: int) -> str:
    """Return what is to be known of a provenance that nothing was said of."""
    stated = pump.provenance
    if "unknown" in (stated.flow, stated.head):
        return (
            "provenance of flow and head is unknown, and no wear is claimed until the manual says: measured "
            "by sensors, or estimated by the drive"
        )
    return (
        f"provenance (flow {stated.flow}, head {stated.head}) is taken as stated; {readings} stored readings "
        f"are too few to hold it against ({FEWEST_READINGS})"
    )


def _why(to: str) -> str:
    if to == "estimated":
        return (
            "each head lies on what its speed and flow give, as a drive's own computation does, not a sensor"
        )
    return "head scatters over speed and flow as a sensor does, and no computation"


def unfinished(pump: Pump, place: str) -> Proof:
    """Return what is missing of a pump that has neither a bus nor a reading."""
    return Proof(
        value="register_map",
        verdict=Verdict.OPEN,
        sentence=(
            f"{pump.name} has no register map yet, and no readings: owncurve match finds one from what its "
            "drive's panel shows, owncurve registers makes one from a table of its manual; then state bus, "
            f"unit_id and register_map at {place}. A pump that cannot be reached is fed by owncurve import"
        ),
    )
