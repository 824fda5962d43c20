"""Samples: what a panel showed and what the registers held meanwhile; kept in a file one by one."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path
from typing import Final

from pydantic import AwareDatetime, Field

from collector.matching.panel import PanelError, PanelValue, parse_panel
from collector.matching.places import Image
from collector.registers.register_map import Table
from collector.toml_file import StrictTable, TomlFileError, read_table, where

_TABLES: Final[tuple[Table, ...]] = ("input", "holding")
_HEADER: Final = """\
# Samples of "owncurve match": what the panel showed, and what the registers held just before and just after,
# in hexadecimal by the first address (counted from 0) of each run.
"""
_LAST_ADDRESS: Final = 0xFFFF


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """What the panel showed, and the images read just before and just after it was typed."""

    panel: tuple[PanelValue, ...]
    images: tuple[Image, ...]
    time_utc_ms: int

    def shown(self, name: str) -> PanelValue | None:
        """Return the value of a quantity, or None when it was not typed."""
        return next((value for value in self.panel if value.quantity.name == name), None)


class _Image(StrictTable):
    input: dict[str, str] = Field(default_factory=dict)
    holding: dict[str, str] = Field(default_factory=dict)


class _Sample(StrictTable):
    time: AwareDatetime
    panel: str
    images: tuple[_Image, ...]


class _Document(StrictTable):
    sample: tuple[_Sample, ...] = ()


def load_samples(path: Path, rated_speed_rpm: float | None = None) -> tuple[Sample, ...]:
    """Read the samples of a file.

    Raises
    ------
    TomlFileError
        One line with the file, the line and what was expected.
    """
    typed = read_table(path, _Document).sample
    text = path.read_text(encoding="utf-8-sig")
    samples = []
    for place, each in enumerate(typed):
        try:
            samples.append(_sample(each, rated_speed_rpm))
        except (PanelError, ValueError) as error:
            raise TomlFileError(f"{where(path, text, ('sample', place, 'panel'))}: {error}") from error
    return tuple(samples)


def append_sample(path: Path, sample: Sample) -> None:
    """Add a sample to a file, in one piece and on disk before this returns; OSError when it cannot be."""
    is_new = not path.exists() or path.stat().st_size == 0
    with path.open("a", encoding="utf-8") as file:
        file.write((_HEADER if is_new else "") + sample_text(sample))
        file.flush()
        os.fsync(file.fileno())


def sample_text(sample: Sample) -> str:
    """Return a sample as it stands in a file."""
    at = datetime.fromtimestamp(sample.time_utc_ms / 1000, UTC).isoformat(timespec="milliseconds")
    panel = ", ".join(value.text for value in sample.panel)
    images = ",\n".join(f"  {{ {_image_text(image)} }}" for image in sample.images)
    return f'\n[[sample]]\ntime = {at}\npanel = "{panel}"\nimages = [\n{images},\n]\n'


def _image_text(image: Image) -> str:
    tables = []
    for table in _TABLES:
        runs = ", ".join(f'{first} = "{words}"' for first, words in _runs(image, table).items())
        if runs:
            tables.append(f"{table} = {{ {runs} }}")
    return ", ".join(tables)


def _runs(image: Image, table: Table) -> dict[int, str]:
    addresses = sorted(address for held, address in image if held == table)
    starts = [address for before, address in pairwise([-2, *addresses]) if address != before + 1]
    runs: dict[int, list[str]] = {start: [] for start in starts}
    start = -1
    for address in addresses:
        start = address if address in runs else start
        runs[start].append(f"{image[(table, address)]:04x}")
    return {start: " ".join(words) for start, words in runs.items()}


def _sample(typed: _Sample, rated_speed_rpm: float | None) -> Sample:
    if not typed.images:
        raise ValueError("a sample needs the registers that were read, as images = [ ... ]")
    return Sample(
        panel=parse_panel(typed.panel, rated_speed_rpm),
        images=tuple(_image(each) for each in typed.images),
        time_utc_ms=round(typed.time.timestamp() * 1000),
    )


def _image(typed: _Image) -> Image:
    runs: Mapping[Table, Mapping[str, str]] = {"input": typed.input, "holding": typed.holding}
    image: dict[tuple[Table, int], int] = {}
    for table, run in runs.items():
        for first, words in run.items():
            for place, word in enumerate(_words(table, first, words)):
                image[(table, int(first) + place)] = word
    return image


def _words(table: Table, first: str, words: str) -> list[int]:
    """Return the words of a run; ValueError in the reader's words."""
    held = words.split()
    if not re.fullmatch(r"\d{1,5}", first) or int(first) + len(held) - 1 > _LAST_ADDRESS:
        raise ValueError(f"{table}: a run begins at an address of 0 to 65535 and ends there, not at {first}")
    wrong = next((word for word in held if not re.fullmatch(r"[0-9a-fA-F]{4}", word)), None)
    if wrong is not None:
        raise ValueError(f"{table} {first}: each register is four hexadecimal digits, not {wrong!r}")
    return [int(word, 16) for word in held]
