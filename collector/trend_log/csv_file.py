"""A trend log as rows of text: encoding, separator and line numbers, read once and in constant memory."""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from collector.trend_log.errors import TrendLogError

BATCH_ROWS: Final = 5_000
SEPARATORS: Final = (",", ";", "\t")
_SAMPLE_BYTES: Final = 65_536
_CHUNK_BYTES: Final = 1 << 18
_SAVE_AS: Final = "save it as CSV in UTF-8"
_OTHER_ENCODINGS: Final = (b"\xff\xfe", b"\xfe\xff")


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """Rows as they stand in the file: ``lines[i]`` is the line on which ``rows[i]`` ends, 1 the first."""

    lines: list[int]
    rows: list[list[str]]


class HashedFile(io.RawIOBase):
    """A file that keeps the sum and the count of the bytes read from it."""

    def __init__(self, path: Path) -> None:
        self._file = path.open("rb", buffering=0)
        self.sha256 = hashlib.sha256()
        self.bytes_read = 0

    def readable(self) -> bool:
        """Say that this can be read."""
        return True

    def readinto(self, buffer: memoryview) -> int:  # type: ignore[override]
        """Read into the buffer and return how much."""
        count = self._file.readinto(buffer) or 0
        self.sha256.update(buffer[:count])
        self.bytes_read += count
        return count

    def close(self) -> None:
        """Close the file."""
        self._file.close()
        super().close()


class CsvFile:
    """An opened trend log: ``header``, ``separator``, then :meth:`batches` once. Close it, or use ``with``.

    Raises
    ------
    TrendLogError
        When it cannot be opened, is no UTF-8 text, or has no header row with two columns.
    """

    def __init__(self, path: Path, expected: str = "a time column and at least one more") -> None:
        self.path = path
        self.size = _size(path)
        self.sample = _sample(path)
        self.separator = _separator(path, self.sample, expected)
        self._file = HashedFile(path)
        buffered = io.BufferedReader(self._file, _CHUNK_BYTES)
        self._text = io.TextIOWrapper(buffered, encoding="utf-8-sig", newline="")
        self._rows = csv.reader(self._text, delimiter=self.separator)
        with self._explained():
            self.header = [name.strip() for name in next(self._rows, [])]

    def __enter__(self) -> CsvFile:
        return self

    def __exit__(self, *_error: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the file."""
        self._text.close()

    @property
    def bytes_read(self) -> int:
        """How much of the file was read."""
        return self._file.bytes_read

    def sha256(self) -> str:
        """Return the sum of the bytes read, all of the file's once the batches are through."""
        return self._file.sha256.hexdigest()

    def batches(self) -> Iterator[Batch]:
        """Give the rows below the header; empty lines are left out."""
        while (batch := self._next_batch()).lines:
            yield batch

    def _next_batch(self) -> Batch:
        batch = Batch(lines=[], rows=[])
        with self._explained():
            for row in self._rows:
                if row:
                    batch.rows.append(row)
                    batch.lines.append(self._rows.line_num)
                    if len(batch.rows) == BATCH_ROWS:
                        break
        return batch

    @contextmanager
    def _explained(self) -> Iterator[None]:
        try:
            yield
        except UnicodeDecodeError as error:
            raise TrendLogError(
                f"{self.path}: is not UTF-8 text (after line {self._rows.line_num}); {_SAVE_AS}"
            ) from error
        except csv.Error as error:
            raise TrendLogError(
                f"{self.path}, line {self._rows.line_num}: no table row ({error}); look for a quote mark "
                "that is never closed"
            ) from error


def _size(path: Path) -> int:
    try:
        if path.is_dir():
            raise TrendLogError(f"{path}: is a folder; expected a CSV file")
        return path.stat().st_size
    except OSError as error:
        raise TrendLogError(f"{path}: cannot be read: {error.strerror}") from error


def _sample(path: Path) -> str:
    """Return the beginning of the file as text."""
    try:
        with path.open("rb") as file:
            start = file.read(_SAMPLE_BYTES)
    except OSError as error:
        raise TrendLogError(f"{path}: cannot be read: {error.strerror}") from error
    if start.startswith(_OTHER_ENCODINGS):
        raise TrendLogError(f"{path}: is UTF-16 text; {_SAVE_AS}")
    if b"\x00" in start:
        raise TrendLogError(f"{path}: is no text (it may be a spreadsheet file); {_SAVE_AS}")
    if len(start) == _SAMPLE_BYTES:
        # The last line is likely cut off, and what is left of its numbers would mislead.
        start = start[: start.rfind(b"\n") + 1] or start
    # Letters that are none are ignored here only; the reading itself is strict.
    return start.decode("utf-8-sig", errors="ignore")


def _separator(path: Path, sample: str, expected: str) -> str:
    """Return the separator that the header row has most of, outside quotes."""
    header = sample.lstrip("\r\n").splitlines()[0] if sample.strip() else ""
    if not header:
        raise TrendLogError(f"{path}: is empty; expected a header row and rows below it")
    plain = "".join(header.split('"')[::2])
    best = max(SEPARATORS, key=plain.count)
    if not plain.count(best):
        raise TrendLogError(
            f"{path}, line 1: is no header row of a table: {header[:60]!r}; expected {expected}, "
            "separated by comma, semicolon or TAB"
        )
    return best
