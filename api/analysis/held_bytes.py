"""What a slow look holds, as bytes for a row of the store, and back again to the last bit.

A line of JSON with the shape of it, then the numbers as they lie in memory, little-endian, packed without
loss. Arrays that several parts share are written once, and of symmetric matrices one half.
"""

from __future__ import annotations

import json
import zlib
from dataclasses import fields, is_dataclass
from typing import Any, Final

import numpy as np

from api.analytics.cells import Births
from api.analytics.change import DayNoise, Days, Folded
from api.analytics.finding import Cause, Evidence, Finding, Kind, Priority
from api.analytics.not_assessable import Sight
from api.analytics.slow_look import Held, Told
from api.analytics.system import Openings
from api.analytics.verdicts import Alarm, Verdict
from api.analytics.watch import Watched

Array = np.ndarray[Any, Any]

_CLASSES: Final = {
    each.__name__: each
    for each in (
        *(Held, Told, Watched, Days, Folded, DayNoise, Verdict, Alarm),
        *(Births, Openings, Sight, Finding, Cause, Evidence),
    )
}


PACKING_LEVEL: Final = 1
"""Higher ones take twice the time for 2 % less room."""


def held_layout() -> int:
    """Return a number that changes with the names of what is held: other names are not read."""
    names = {name: [field.name for field in fields(each)] for name, each in _CLASSES.items()}
    return zlib.crc32(json.dumps(names, sort_keys=True).encode())


def to_bytes(held: Held) -> bytes:
    """Return what is held as bytes."""
    arrays: list[Array] = []
    places: dict[int, int] = {}
    shape = json.dumps(_plain(held, arrays, places), separators=(",", ":")).encode()
    numbers = b"".join(np.ascontiguousarray(array).tobytes() for array in arrays)
    return b"\n".join([shape, zlib.compress(numbers, PACKING_LEVEL)])


def from_bytes(stored: bytes) -> Held:
    """Return what :func:`to_bytes` wrote.

    Raises
    ------
    ValueError, KeyError, TypeError, zlib.error
        When the bytes are not of that kind.
    """
    shape, numbers = stored.split(b"\n", 1)
    held = _value(json.loads(shape), zlib.decompress(numbers), {})
    if not isinstance(held, Held):
        raise TypeError("these bytes hold something else")
    return held


def _plain(value: object, arrays: list[Array], places: dict[int, int]) -> object:
    if is_dataclass(value) and not isinstance(value, type):
        parts = {f.name: _plain(getattr(value, f.name), arrays, places) for f in fields(value)}
        return {"is": type(value).__name__, "of": parts}
    if isinstance(value, np.ndarray):
        is_half = _is_symmetric(value)
        if id(value) not in places:
            places[id(value)] = sum(array.nbytes for array in arrays)
            arrays.append(_half(value) if is_half else value)
        return {"at": places[id(value)], "type": value.dtype.str, "shape": value.shape, "half": is_half}
    if isinstance(value, tuple):
        return [_plain(part, arrays, places) for part in value]
    return value


def _value(plain: object, numbers: bytes, seen: dict[int, Array]) -> object:
    if isinstance(plain, list):
        return tuple(_value(part, numbers, seen) for part in plain)
    if not isinstance(plain, dict):
        return plain
    if "is" in plain:
        parts = {name: _value(part, numbers, seen) for name, part in plain["of"].items()}
        return _made(_CLASSES[plain["is"]], parts)
    return _array(plain, numbers, seen)


def _made(kind: type[Any], parts: dict[str, Any]) -> object:
    if kind is Finding:
        parts |= {"kind": Kind(parts["kind"]), "priority": Priority(parts["priority"])}
    return kind(**parts)


def _array(plain: dict[str, Any], numbers: bytes, seen: dict[int, Array]) -> Array:
    count, place = int(np.prod(plain["shape"])), plain["at"]
    if count == 0:
        return np.zeros(plain["shape"], dtype=plain["type"])
    if place not in seen:
        seen[place] = (_whole if plain["half"] else _as_it_lies)(plain, numbers)
    return seen[place]


def _as_it_lies(plain: dict[str, Any], numbers: bytes) -> Array:
    count = int(np.prod(plain["shape"]))
    return np.frombuffer(numbers, plain["type"], count, plain["at"]).reshape(plain["shape"])


def _is_symmetric(value: Array) -> bool:
    is_matrices = value.ndim == 3 and value.shape[1] == value.shape[2]
    return is_matrices and np.array_equal(value, value.transpose(0, 2, 1))


def _half(value: Array) -> Array:
    row, column = np.triu_indices(value.shape[1])
    return np.asarray(value[:, row, column])


def _whole(plain: dict[str, Any], numbers: bytes) -> Array:
    days, side, _ = plain["shape"]
    row, column = np.triu_indices(side)
    half = np.frombuffer(numbers, plain["type"], days * len(row), plain["at"]).reshape(days, len(row))
    whole = np.empty(plain["shape"], dtype=plain["type"])
    whole[:, row, column] = whole[:, column, row] = half
    return whole
