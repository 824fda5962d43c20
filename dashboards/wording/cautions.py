"""Cautions: what can hurt somebody while a finding is checked. Common practice; local rules come first."""

from __future__ import annotations

from typing import Final

CAUTIONS: Final[dict[str, str]] = {
    "lock_out": (
        "Before hands go near the pump, coupling or wiring: stop it, isolate it, lock it out, tag it, and "
        "prove "
        "that it is dead."
    ),
    "stored_energy": (
        "A drive's capacitors stay charged after the supply is off. Wait as long as the drive's own label "
        "says, "
        "then measure before touching."
    ),
    "automatic_restart": (
        "A drive may start by itself, from a schedule, a level, an outside signal or after a power cut. "
        "A pump that stands still is not a pump that is off."
    ),
    "rotating_parts": (
        "Keep clothes, hair and tools away from shaft and coupling; no guard comes off while it can turn."
    ),
    "hot_pressure": (
        "The water may be hot and is under pressure. Close, drain and let it cool before a vent, strainer, "
        "plug or "
        "gauge is opened, and open it slowly, standing aside."
    ),
    # The minute is from memory; the pump's manual decides.
    "shutoff_limit": (
        "Water in a pump that runs against a closed valve heats up fast. Keep it to the shortest time that "
        "gives "
        "a steady reading (about a minute), within what the pump's manual allows; never on "
        "hot or large pumps without that limit."
    ),
    "pressure_rises": (
        "Against a closed valve the pump gives its highest pressure, on top of what stands at suction: "
        "gauges, hoses and pipes up to the valve must be made for it, and nobody stands where a relief valve "
        "blows off."
    ),
    "electrical": "Work inside a drive or motor terminal box is for licensed electricians.",
    "not_proof": "A finding from telemetry is a reason to look, not a proof.",
}
"""A sentence for each code of a caution."""

ALWAYS: Final = (
    "Owncurve only reads; it can't stop a pump and is no safety device. Local codes, the plant's own "
    "procedures and "
    "licensed people decide what is done. No finding does not mean a healthy pump."
)
"""Stands at the foot of every page."""
