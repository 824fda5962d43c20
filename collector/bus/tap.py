"""Who watches a link: it is told of every byte, and can change none."""

from __future__ import annotations

from typing import Protocol


class Tap(Protocol):
    """Called from the thread that asks, at the moment at which it happens."""

    def sent(self, frame: bytes) -> None:
        """Take note of what was sent just now."""

    def came(self, data: bytes) -> None:
        """Take note of what came."""


class NoTap:
    """Nobody watches."""

    def sent(self, frame: bytes) -> None:
        """Do nothing."""

    def came(self, data: bytes) -> None:
        """Do nothing."""
