"""Samples: what a panel showed and what the registers held meanwhile; kept in a file one by one."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path
from typing import Final

from pydantic import AwareDatetime, Field

from collector.matching.panel import PanelError, PanelValue, parse_panel
from collector.matching.places import Image
from collector.registers.register_map import Table
from collector.toml_file import StrictTable, TomlFileError, quoted, read_table, read_text, where
from collector.whole_file import write_over

_TABLES: Final[tuple[Table, ...]] = ("input", "holding")
_HEADER: Final = """\
# Samples of "owncurve match": what the panel showed, and what the registers held just before and just after,
# in hexadecimal by the first address (counted from 0) of each run.
"""
_LAST_ADDRESS: Final = 0xFFFF
_MARK: Final = "[[sample]]"


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """What the panel showed, and the images read just before and just after it was typed.

    ``read_from`` says in words which drive on which line that was; empty where nobody said.
    """

    panel: tuple[PanelValue, ...]
    images: tuple[Image, ...]
    time_utc_ms: int
    read_from: str = ""

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
    read_from: str = ""


class _Document(StrictTable):
    sample: tuple[_Sample, ...] = ()


def load_samples(
    path: Path, rated_speed_rpm: float | None = None, told: Callable[[str], None] = lambda _: None
) -> tuple[Sample, ...]:
    """Read the samples of a file; ``told`` hears when the last one was torn, as by a pulled plug.

    Raises
    ------
    TomlFileError
        One line with the file, the line and what was expected.
    """
    text = read_text(path)
    if _is_torn(path, text):
        text = _without_the_last(text)
        line = text.count("\n") + 1
        told(f"{path}, line {line}: the last sample is torn and lost; those before it count")
    typed = read_table(path, _Document, text).sample
    samples = []
    for place, each in enumerate(typed):
        try:
            samples.append(_sample(each, rated_speed_rpm))
        except (PanelError, ValueError) as error:
            raise TomlFileError(f"{where(path, text, ('sample', place, 'panel'))}: {error}") from error
    return tuple(samples)


def append_sample(path: Path, sample: Sample) -> None:
    """Add a sample to a file, in one piece and on disk before this returns; a torn last one makes room.

    Raises
    ------
    NotWrittenError
        When it cannot be; the file is as it was.
    TomlFileError
        When what is there cannot be read.
    """
    before = read_text(path) if path.exists() else ""
    if before and _is_torn(path, before):
        before = _without_the_last(before)
    if before and not before.endswith("\n"):
        before += "\n"
    write_over(path, (before or _HEADER) + sample_text(sample))


def _is_torn(path: Path, text: str) -> bool:
    """Return whether all is well but for an end that was never written: no TOML, or a key that is missing."""
    if _MARK not in text:
        return False
    try:
        held = tomllib.loads(text.removeprefix("\ufeff")).get("sample")
    except tomllib.TOMLDecodeError:
        held = []
    if not isinstance(held, list):
        return False  # No end is missing: this file is another one.
    last = held[-1] if held else None
    is_whole = isinstance(last, dict) and all(key in last for key in ("time", "panel", "images"))
    return not is_whole and _loads(path, _without_the_last(text))


def _loads(path: Path, text: str) -> bool:
    try:
        read_table(path, _Document, text)
    except TomlFileError:
        return False
    return True


def _without_the_last(text: str) -> str:
    return text[: text.rfind(_MARK)] if _MARK in text else text


def sample_text(sample: Sample) -> str:
    """Return a sample as it stands in a file."""
    at = datetime.fromtimestamp(sample.time_utc_ms / 1000, UTC).isoformat(timespec="milliseconds")
    panel = ", ".join(value.text for value in sample.panel)
    images = ",\n".join(f"  {{ {_image_text(image)} }}" for image in sample.images)
    read_from = f"read_from = {quoted(sample.read_from)}\n" if sample.read_from else ""
    return f"\n{_MARK}\ntime = {at}\n{read_from}panel = {quoted(panel)}\nimages = [\n{images},\n]\n"


def other_drive(samples: Sequence[Sample], read_from: str = "") -> str:
    """Return one line when not all samples are of one drive, which ``read_from`` may name; else nothing.

    >>> one, two = (Sample(panel=(), images=(), time_utc_ms=0, read_from=place) for place in ("a", "b"))
    >>> other_drive([one, one]), other_drive([one, two]).partition(":")[0]
    ('', 'sample 2 was read from b, and sample 1 from a')
    """
    first = f"this is {read_from}" if read_from else ""
    for number, sample in enumerate(samples, 1):
        if sample.read_from and not read_from:
            read_from, first = sample.read_from, f"sample {number} from {sample.read_from}"
        if sample.read_from and sample.read_from != read_from:
            return (
                f"sample {number} was read from {sample.read_from}, and {first}: one map is of one drive; "
                "where it is the same one, write the same read_from beside all its samples"
            )
    return ""


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
        read_from=typed.read_from,
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
