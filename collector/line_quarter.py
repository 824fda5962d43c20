"""What became of the requests to one unit of a bus within a quarter of an hour, or a part of one."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

QUARTER_MS: Final = 900_000
LONG_ANSWER_BYTES: Final = 20
"""Answers of eight registers or more on a serial line: reflections and noise hurt them first."""
REPLY_EDGES_S: Final = (
    0.002, 0.003, 0.005, 0.007, 0.01, 0.015, 0.02, 0.03, 0.05, 0.07,
    0.1, 0.15, 0.2, 0.3, 0.5, 0.7, 1.0, 1.5, 2.0,
)  # fmt: skip
"""Where a class of reply times ends and the next begins [s]; the last class has no end."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LineQuarter:
    """Counts from ``start_utc_ms`` up to ``end_utc_ms``, where the next begins.

    ``watched_s`` [s] is how long the bus was polled or heard, ``busy_s`` how much of that this unit's
    requests took, waiting for silent drives included; both by the real clock, where the site's runs faster
    too.
    ``requests`` = ``answers`` + ``refused`` + ``no_reply`` + ``damaged`` + ``echo``; ``no_link`` counts turns
    at which the port or host was away, so that nothing was sent. ``long_answers`` and ``long_damaged`` are
    those of ``LONG_ANSWER_BYTES`` or more. ``reply_times`` counts replies by the classes of
    ``REPLY_EDGES_S``: from the end of the request to the answer, the time on the line left out.
    """

    bus: str
    unit: int
    start_utc_ms: int
    end_utc_ms: int
    watched_s: float
    busy_s: float
    requests: int = 0
    answers: int = 0
    refused: int = 0
    no_reply: int = 0
    damaged: int = 0
    echo: int = 0
    no_link: int = 0
    long_answers: int = 0
    long_damaged: int = 0
    reply_times: tuple[int, ...] = (0,) * (len(REPLY_EDGES_S) + 1)


def reply_class(reply_s: float) -> int:
    """Return the class of a reply time [s].

    >>> reply_class(0.0), reply_class(0.002), reply_class(9.0) == len(REPLY_EDGES_S)
    (0, 1, True)
    """
    return bisect_right(REPLY_EDGES_S, reply_s)


def reply_quantile_s(reply_times: Sequence[int], share: float) -> float | None:
    """Return the reply time [s] that this share of the replies kept within, ``None`` without replies.

    Within a class replies are taken as evenly spread, so it is right to the width of its class; beyond the
    last edge it is that edge.

    >>> reply_quantile_s([0, 0, 0, 0, 0, 100], 0.5), reply_quantile_s([], 0.5)
    (0.0125, None)
    """
    wanted = share * sum(reply_times)
    edges = (0.0, *REPLY_EDGES_S, REPLY_EDGES_S[-1])
    for place, count in enumerate(reply_times):
        if count and wanted <= count:
            return round(edges[place] + (edges[place + 1] - edges[place]) * wanted / count, 6)
        wanted -= count
    return None
