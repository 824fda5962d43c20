"""A TOML file that a person types: read, checked, and refused in one line that says where and what."""

from __future__ import annotations

import difflib
import json
import re
import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Any, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator
from pydantic_core import ErrorDetails, PydanticCustomError

Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
"""A real number; neither a word, nor true or false."""
Whole = Annotated[int, Field(strict=True)]
"""A whole number; neither a word, nor 3.0, nor true or false."""

LARGEST_FILE_BYTES = 4_000_000
"""Far beyond any site of a thousand pumps: a larger file is not the file the reader meant."""

_PLAIN_WORDS = {
    "a valid integer": "a whole number",
    "a valid number": "a number",
    "a valid string": "text in quotes",
    "a valid boolean": "true or false",
    "a valid dictionary": "a table",
    "an object": "a table",
}
"""What the checking library says, in the reader's words."""


class TomlFileError(Exception):
    """A file that cannot be used: the sentence names the file, the line, the key and what was expected."""


class StrictTable(BaseModel):
    """A table whose unknown keys are refused by the nearest known name: a misspelt key is never ignored."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    @model_validator(mode="before")
    @classmethod
    def _only_known_keys(cls, table: object) -> object:
        if isinstance(table, dict):
            for key in table:
                if key not in cls.model_fields:
                    words = f"unknown key {key!r}{did_you_mean(str(key), list(cls.model_fields))}"
                    raise PydanticCustomError("unknown_key", "{words}", {"words": words, "key": key})
        return table


Table = TypeVar("Table", bound=BaseModel)


def did_you_mean(word: str, known: Sequence[str]) -> str:
    """Return ``; did you mean 'x'?`` with the nearest known word, or the list of all when none is near.

    >>> did_you_mean("adress", ["address", "table"])
    "; did you mean 'address'?"
    """
    near = difflib.get_close_matches(word, known, n=1, cutoff=0.6)
    return f"; did you mean {near[0]!r}?" if near else f"; known are: {', '.join(known)}"


def quoted(text: str) -> str:
    """Return a text as a TOML string; a letter that is none (half of a pair of UTF-16) becomes "?".

    JSON's escapes are among TOML's, which wants one more character escaped.

    >>> quoted("plant room")
    '"plant room"'
    """
    whole = text.encode("utf-8", "replace").decode("utf-8")
    return json.dumps(whole, ensure_ascii=False).replace("\x7f", "\\u007f")


def read_table(path: Path, model: type[Table], text: str | None = None) -> Table:
    """Read the file into the model, or what of its text is given.

    Raises
    ------
    TomlFileError
        One line, when the file is missing, too large, not UTF-8, not TOML, or breaks the model.
    """
    text = read_text(path) if text is None else text
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise TomlFileError(f"{path}: not TOML: {_one_line(str(error))}") from error
    except RecursionError as error:
        raise TomlFileError(f"{path}: tables or lists are nested too deeply") from error
    try:
        return model.model_validate(document)
    except ValidationError as error:
        raise TomlFileError(_sentence(path, text, error)) from error


def where(path: Path, text: str, place: Sequence[str | int]) -> str:
    """Return ``file, line 12`` for a place such as ``("pump", 3, "unit_id")``, or the file alone."""
    line = _line_of(text, place)
    return f"{path}, line {line}" if line else str(path)


def read_text(path: Path) -> str:
    """Return the text of a file; TomlFileError, in one line, when it is missing, too large or not UTF-8."""
    try:
        with path.open("rb") as file:
            raw = file.read(LARGEST_FILE_BYTES + 1)
    except OSError as error:
        raise TomlFileError(f"{path}: cannot be read: {error.strerror or error}") from error
    if len(raw) > LARGEST_FILE_BYTES:
        raise TomlFileError(f"{path}: larger than {LARGEST_FILE_BYTES // 1_000_000} MB, so not such a file")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise TomlFileError(f"{path}: not UTF-8 text (byte {error.start}); save it as UTF-8") from error


def _sentence(path: Path, text: str, error: ValidationError) -> str:
    first = error.errors(include_url=False)[0]
    place: list[str | int] = list(first["loc"])
    if first["type"] == "unknown_key":
        place.append(first["ctx"]["key"])
    more = _next_trouble(path, text, error) if error.error_count() > 1 else ""
    named = _place_in_words(place[:-1] if first["type"] == "unknown_key" else place)
    return _one_line(f"{where(path, text, place)}: {named}{_complaint(first)}{more}")


def _complaint(detail: ErrorDetails) -> str:
    if detail["type"] == "missing":
        return "is missing"
    if detail["type"] in ("unknown_key", "value_error"):
        return detail["msg"].removeprefix("Value error, ")
    expected = detail["msg"].replace("Input should be", "should be").replace("String should", "should")
    for theirs, ours in _PLAIN_WORDS.items():
        expected = expected.replace(theirs, ours)
    given = detail["input"]
    if detail["type"] in ("model_type", "model_attributes_type", "dict_type"):
        return f"should be a table, as {{ key = value }}, not {_short(given)}"
    if detail["type"] in ("tuple_type", "list_type"):
        return f"should be a list{_as_a_list(given)}, not {_short(given)}"
    return f"{expected}, not {_short(given)}"


def _as_a_list(given: object) -> str:
    """Return how a number that stood alone would stand in a list; registers' values as manuals write them.

    Of a word nobody knows whether it was meant as one of a list.
    """
    if not isinstance(given, int | float) or isinstance(given, bool):
        return " in square brackets"
    return f", as [0x{given:X}]" if isinstance(given, int) and given > 9 else f", as [{_short(given)}]"


def _next_trouble(path: Path, text: str, error: ValidationError) -> str:
    """Say how many more there are and where the next one stands: they come up as each is mended."""
    second = error.errors(include_url=False)[1]
    place = list(second["loc"])
    line = _line_of(text, place)
    at = f"line {line}" if line else _place_in_words(place).rstrip(": ") or "the file"
    return f" (and {error.error_count() - 1} more, the next at {at})"


def _short(value: Any) -> str:  # noqa: ANN401 - whatever the file held
    words = repr(value)
    return words if len(words) <= 60 else f"{words[:57]}..."


def _place_in_words(place: Sequence[str | int]) -> str:
    words = "".join(f"[{part + 1}]" if isinstance(part, int) else f".{part}" for part in place)
    return f"{words.lstrip('.')}: " if words else ""


def _one_line(words: str) -> str:
    return " ".join(words.split())


def _line_of(text: str, place: Sequence[str | int]) -> int | None:
    """Find the line of a key by its table header and name: right for tables as people write them."""
    lines = text.splitlines()
    start, depth = _header_line(lines, place)
    for number in range(start, len(lines)):
        if number > start and lines[number].lstrip().startswith("["):
            break
        for part in place[depth:]:
            if isinstance(part, str) and re.match(rf'\s*"?{re.escape(part)}"?\s*[=.]', lines[number]):
                return number + 1
    return start + 1 if depth else None


def _header_line(lines: Sequence[str], place: Sequence[str | int]) -> tuple[int, int]:
    """Return the line [0-based] of the deepest table header on the way, and how much of the way it is."""
    found = (0, 0)
    seen: dict[str, int] = {}
    names = [str(part) for part in place if isinstance(part, str)]
    index = next((part for part in place if isinstance(part, int)), 0)
    for number, line in enumerate(lines):
        header = re.match(r"\s*\[\[?([^\]]+)\]\]?", line)
        if header is None:
            continue
        parts = [part.strip().strip("\"'") for part in header.group(1).split(".")]
        if line.lstrip().startswith("[["):
            seen[parts[0]] = seen.get(parts[0], -1) + 1
        depth = len(parts) + (1 if len(place) > 1 and isinstance(place[1], int) else 0)
        if parts == names[: len(parts)] and seen.get(parts[0], index) == index and depth > found[1]:
            found = (number, depth)
    return found
