"""Numbers as people type them behind an option, refused in one line."""

from __future__ import annotations

import argparse


def positive(text: str) -> float:
    """Return a number above 0."""
    number = _number(text)
    if not 0 < number < 1e6:
        raise argparse.ArgumentTypeError(f"expected a number above 0, got {text}")
    return number


def share(text: str) -> float:
    """Return a number from 0 to 1."""
    number = _number(text)
    if not 0 <= number <= 1:
        raise argparse.ArgumentTypeError(f"expected a share from 0 to 1, as 0.05, got {text}")
    return number


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return float("nan")
