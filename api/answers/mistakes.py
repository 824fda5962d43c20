"""What is wrong with what a person typed: one line for each field, all of them at once."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TypeVar

T = TypeVar("T")


class FieldMistakes(ValueError):
    """Nothing was changed: ``sentences`` says why, by the name of the field; an empty name is the whole.

    >>> str(FieldMistakes({"at": "is still to come", "role": "is missing"}))
    'at: is still to come; role: is missing'
    """

    def __init__(self, sentences: Mapping[str, str]) -> None:
        super().__init__("; ".join(_said(name, sentence) for name, sentence in sentences.items()))
        self.sentences = dict(sentences)

    def as_options(self, names: Mapping[str, str] | None = None) -> str:
        """Return the same for a command line, where a field is an option, called as in ``names``.

        >>> FieldMistakes({"new_baseline": "would hide a fault"}).as_options()
        '--new-baseline: would hide a fault'
        """
        called = {name: (names or {}).get(name, name).replace("_", "-") for name in self.sentences}
        options = {f"--{called[name]}" if name else "": said for name, said in self.sentences.items()}
        return "; ".join(_said(name, sentence) for name, sentence in options.items())


def _said(name: str, sentence: str) -> str:
    return f"{name}: {sentence}" if name else sentence


class Gathered:
    """Reads field after field and keeps the mistakes, so that a person is told all of them at once.

    >>> gathered = Gathered()
    >>> gathered.take("flow", lambda: float("ten"), 0.0)
    0.0
    >>> gathered.refuse("role", "is missing")
    >>> gathered.must_be_right()
    Traceback (most recent call last):
    api.answers.mistakes.FieldMistakes: flow: could not convert string to float: 'ten'; role: is missing
    """

    def __init__(self) -> None:
        self._sentences: dict[str, str] = {}

    def take(self, field: str, read: Callable[[], T], instead: T) -> T:
        """Return what ``read`` gives; ``instead`` where it refuses with a ``ValueError``, which is kept."""
        try:
            return read()
        except FieldMistakes as mistakes:
            self._sentences |= mistakes.sentences
        except ValueError as error:
            self.refuse(field, str(error))
        return instead

    def refuse(self, field: str, sentence: str) -> None:
        """Keep a mistake; of two of one field the first."""
        self._sentences.setdefault(field, sentence)

    def must_be_right(self) -> None:
        """Refuse the whole if anything was refused.

        Raises
        ------
        FieldMistakes
            With all that was kept.
        """
        if self._sentences:
            raise FieldMistakes(self._sentences)
