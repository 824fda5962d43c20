"""What a cable does to whatever is said on it, and how our own end may hang on it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class BadWire:
    """What the cable does to whatever is said on it."""

    damaged_bytes: float = 0.0
    """Share of bytes of which one bit is turned round: start, data, parity or stop bit alike."""
    damaged_frames: float = 0.0
    """Share of frames in which one byte is so damaged."""
    noise_per_s: float = 0.0
    """Bursts of one to three stray bytes a second, at any moment."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PortWiring:
    """How our own end hangs on the line."""

    echo: bool = False
    """It hears itself, as adapters do that don't switch their receiver off while they send."""
    is_swapped: bool = False
    """Its two wires are the wrong way round: both sides hear the opposite of every bit."""
    starts_at_low_stop: bool = False
    """Its receiver takes a low stop bit for the next start bit."""
