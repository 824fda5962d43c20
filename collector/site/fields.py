"""Kinds of value that more than one table of the site file holds."""

from __future__ import annotations

import unicodedata
from typing import Annotated

from pydantic import AfterValidator, BeforeValidator, Field

from collector.toml_file import Number
from collector.typed_amounts import Kind, typed_amount

LONGEST_NAME = 100
LONGEST_TEXT = 500


def one_line(text: str) -> str:
    """Return text that prints in one line; ValueError for any other."""
    if any(unicodedata.category(letter) in ("Cc", "Cs") for letter in text):
        raise ValueError(f"holds a control character: {text!r}")
    return text


def printable(text: str) -> str:
    """Return text that prints in one line and is not empty; ValueError for any other."""
    if not one_line(text).strip():
        raise ValueError("is empty")
    return text


def _as_written(kind: Kind, scale: float = 1.0) -> BeforeValidator:
    """Return what takes a number in our unit over ``scale``, or words with a unit of their own."""

    def read(value: object) -> object:
        return typed_amount(value, kind) * scale if isinstance(value, str) else value

    return BeforeValidator(read)


Name = Annotated[str, Field(max_length=LONGEST_NAME), AfterValidator(printable)]
Text = Annotated[str, Field(max_length=LONGEST_TEXT)]
Line = Annotated[str, Field(max_length=LONGEST_NAME), AfterValidator(one_line)]
"""A few words as somebody typed them, or none."""
Positive = Annotated[Number, Field(gt=0)]
FlowM3h = Annotated[Number, Field(gt=0), _as_written("flow")]
HeadM = Annotated[Number, Field(gt=0), _as_written("length")]
PowerW = Annotated[Number, Field(gt=0), _as_written("power")]
SizeMm = Annotated[Number, Field(gt=0, le=10_000), _as_written("length", 1000.0)]
HeightM = Annotated[Number, Field(ge=-100, le=100), _as_written("length")]
