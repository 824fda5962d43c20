"""What a command tells a person besides its data: on standard error, under its name."""

from __future__ import annotations

import sys


def say(words: str) -> None:
    """Print one line to standard error, at once."""
    print(f"owncurve: {words}", file=sys.stderr, flush=True)
