"""How many bits a character takes, told from how long frames take: ten only for 8N1, eleven for the rest.

For a port that does not show parity. A frame's first and last byte are ``length - 1`` characters apart; what
the adapter adds to both falls out, what it adds to one (lumps, a busy machine) is noise that must be smaller
than what one bit a character makes over the longest frames, or nothing is said.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from typing import Final, Literal

from collector.listening.frames import HeardFrame

LEAST_LONGER: Final = 8
"""Characters by which a long frame must be longer than a short one."""
LONG_ENOUGH: Final = 0.6
"""Of the longest: the shorter the frame, the more a lump weighs."""
LEAST_FRAMES: Final = 6


def character_bits(frames: Sequence[HeardFrame], baud: int) -> Literal[10, 11] | None:
    """Return 10 or 11, or ``None`` when the times do not tell."""
    spans = [(frame.end - frame.start, frame.ends_s - frame.begins_s) for frame in frames]
    spans = [(length, span_s) for length, span_s in spans if span_s > 0]
    if len(spans) < LEAST_FRAMES:
        return None
    shortest = min(length for length, _ in spans)
    longest = max(length for length, _ in spans)
    base_s = statistics.median(span_s for length, span_s in spans if length == shortest)
    bits = [
        (span_s - base_s) * baud / (length - shortest)
        for length, span_s in spans
        if length - shortest >= max(LEAST_LONGER, LONG_ENOUGH * (longest - shortest))
    ]
    if len(bits) < LEAST_FRAMES:
        return None
    middle = statistics.median(bits)
    spread = statistics.median(abs(each - middle) for each in bits)
    if abs(middle - 10.5) > 0.8 or abs(middle - 10.5) < 0.15 + 3 * spread / math.sqrt(len(bits)):
        return None
    return 10 if middle < 10.5 else 11
