"""What a pump is not watched for, in words."""

from __future__ import annotations

from typing import Final

from dashboards.display import listed
from dashboards.views import Unwatched
from dashboards.wording import plain

_WHAT: Final = {
    "dry_running": "running dry",
    "closed_discharge": "running against a closed valve",
    "hunting": "a speed that swings",
    "repeated_starts": "starting too often",
}
_WHY: Final = {
    "no_curve": (
        "the pump has no curve of its own yet, and the site file no data sheet with flow, head and power"
    ),
    "no_habit": (
        "how often it is used to start is not known yet, and the site file states neither rated_power_w, "
        "which gives a limit, nor starts_per_hour_limit"
    ),
    "readings_too_far_apart": "the readings are too far apart to show it",
}

NOT_YET: Final = frozenset({"no_curve", "no_habit"})
"""Reasons that time takes away."""


def unwatched_sentence(item: Unwatched) -> str:
    """Return what is not watched for and why not, as a sentence.

    >>> swings = Unwatched(kinds=("hunting",), because="readings_too_far_apart", shorter_than_s=180)
    >>> unwatched_sentence(swings)
    'Not watched: a speed that swings faster than once in 180 s (the readings are too far apart to show it).'
    """
    yet = " yet" if item.because in NOT_YET else ""
    return f"Not watched{yet}: {unwatched_words(item)}."


def unwatched_words(item: Unwatched) -> str:
    """Return the same without its first words and full stop, to stand beside them."""
    what = listed((_WHAT.get(kind, plain(kind)) for kind in item.kinds), "and")
    faster = f" faster than once in {round(item.shorter_than_s)} s" if item.shorter_than_s else ""
    return f"{what}{faster} ({_WHY.get(item.because, plain(item.because))})"
