"""Work that is due every so often, as a person wrote it down from the pumps' manuals."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Literal

from pydantic import model_validator

from collector.site.fields import Line, Name, Positive
from collector.site.nameplate import Bearing
from collector.toml_file import StrictTable, did_you_mean

UpkeepKind = Literal[
    "greasing",
    "coupling_check",
    "seal_inspection",
    "turning_by_hand",
    "strainer",
    "filter",
    "alignment",
    "other",
]
"""What is to be done; ``other`` has a name of its own."""


class Upkeep(StrictTable):
    """A task of all pumps, or of those named; the interval that runs out first makes it due.

    ``every_run_h`` [h] counts the pump's run hours, ``every_days`` [d] the calendar. ``standing_days`` [d] is
    for turning by hand alone: the days for which a pump may stand. ``bearings`` go before those of a pump's
    nameplate. A task that names pumps goes before one of the same kind for all.
    """

    kind: UpkeepKind
    name: Line = ""
    pumps: tuple[Name, ...] = ()
    every_run_h: Positive | None = None
    every_days: Positive | None = None
    standing_days: Positive | None = None
    bearings: tuple[Bearing, ...] = ()
    note: Line = ""

    @model_validator(mode="after")
    def _agrees_with_itself(self) -> Upkeep:
        if self.kind == "turning_by_hand":
            if self.standing_days is None or self.every_run_h or self.every_days:
                raise ValueError("turning_by_hand needs standing_days, the days a pump may stand, alone")
        elif self.standing_days is not None:
            raise ValueError(f"standing_days goes with turning_by_hand; {self.kind} needs another interval")
        elif self.every_run_h is None and self.every_days is None:
            raise ValueError(f"{self.kind} needs an interval: every_run_h, every_days or both")
        if (self.kind == "other") != bool(self.name.strip()):
            raise ValueError('kind = "other" needs name, the task in your words; the other kinds have none')
        if self.bearings and self.kind != "greasing":
            raise ValueError(f"bearings go with greasing, not with {self.kind}")
        return self

    @property
    def task(self) -> tuple[str, str]:
        """What tells one task from another: its kind, and of other ones the name, whatever its case."""
        return self.kind, self.name.strip().casefold()


def upkeep_of(tasks: Sequence[Upkeep], pump: str) -> tuple[Upkeep, ...]:
    """Return the tasks of a pump in the file's order; of one kind, the one that names it."""
    own = [task for task in tasks if pump in task.pumps]
    said = {task.task for task in own}
    return tuple(task for task in tasks if task in own or (not task.pumps and task.task not in said))


def disagreements(
    tasks: Sequence[Upkeep], pumps: Sequence[str]
) -> Iterator[tuple[tuple[str | int, ...], str]]:
    """Give the place and the words of each task that names no pump of the site, or stands there twice."""
    seen: set[tuple[tuple[str, str], str]] = set()
    for number, task in enumerate(tasks):
        for name in task.pumps:
            if name not in pumps:
                hint = did_you_mean(name, pumps) if pumps else "; the file has no [[pump]]"
                yield ("upkeep", number, "pumps"), f"there is no pump {name!r}{hint}"
        for name in task.pumps or ("",):
            if (task.task, name) in seen:
                whose = f"pump {name!r}" if name else "all pumps"
                yield ("upkeep", number, "kind"), f"{task.name or task.kind} stands there twice for {whose}"
            seen.add((task.task, name))
