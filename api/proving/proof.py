"""What is said of one value: that it holds, which line to change, or that it is open."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Verdict(StrEnum):
    """How a value stands."""

    HOLDS = "holds"
    CHANGE = "change"
    """What was typed cannot be right."""
    OPEN = "open"
    """Nothing speaks against it, and not enough for it: the sentence says what would tell."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """A line to change: ``place`` names the file and the line, ``key`` and ``to`` what to write there."""

    place: str
    key: str
    now: str
    to: str

    @property
    def words(self) -> str:
        """Return the change as a person is told of it.

        >>> Change(place="map.toml, line 9", key="unit", now='"m3/h"', to='"gpm"').words
        'map.toml, line 9: unit = "gpm" (now "m3/h")'
        """
        return f"{self.place}: {self.key} = {self.to} (now {self.now})"


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """What became of one value: ``sentence`` holds the numbers, with units.

    ``changes`` are what would make it right, the likeliest first: one alone is the one to make, of several
    the drive's panel tells which. It is empty where nothing was found that explains the value.
    """

    value: str
    verdict: Verdict
    sentence: str
    changes: tuple[Change, ...] = ()

    @property
    def holds(self) -> bool:
        """Return whether the value is proven as typed."""
        return self.verdict is Verdict.HOLDS
