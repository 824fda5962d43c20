"""Minutes of a line in milliseconds: what a port hears without anybody waiting for it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from math import ceil

from simulator.lines.shared_line import SharedLine
from simulator.lines.uart import Character, LineSetting

_STEP_S = 0.002


@dataclass(frozen=True, slots=True, kw_only=True)
class Lump:
    """Characters that a program gets at one time [s]."""

    time_s: float
    characters: tuple[Character, ...]

    @property
    def data(self) -> bytes:
        """Return the bytes, good or bad."""
        return bytes(character.byte for character in self.characters)


def record(
    line: SharedLine, seconds: float, setting: LineSetting | None = None, lump_s: float = _STEP_S
) -> list[Lump]:
    """Let a line run for so long and return what its port hears, set as given or as the line is.

    Characters come in lumps at whole multiples of ``lump_s``, never before they are through.
    """
    if setting is not None:
        line.set_port(setting)
    line.advance(line.now_s + seconds)
    return list(lumped(line.heard(), lump_s))


def lumped(characters: Iterable[Character], lump_s: float) -> Iterator[Lump]:
    """Return characters in the lumps in which an adapter hands them over."""
    waiting: list[Character] = []
    time_s = 0.0
    for character in characters:
        due_s = ceil(character.ends_s / lump_s) * lump_s
        if waiting and due_s > time_s:
            yield Lump(time_s=time_s, characters=tuple(waiting))
            waiting = []
        time_s = due_s
        waiting.append(character)
    if waiting:
        yield Lump(time_s=time_s, characters=tuple(waiting))
