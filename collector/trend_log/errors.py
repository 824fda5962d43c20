"""What a person must change before a trend log can be taken."""

from __future__ import annotations

import difflib
from collections.abc import Iterable


class TrendLogError(Exception):
    """The file or an option cannot be used; the message is one line. Nothing was imported."""


def nearest(word: str, known: Iterable[str]) -> str:
    """Return a hint that ends a sentence: the nearest known word, or all of them.

    >>> nearest("flow_m3", ["flow_m3h", "head_m"])
    'did you mean flow_m3h?'
    """
    words = list(known)
    found = difflib.get_close_matches(word, words, n=1)
    return f"did you mean {found[0]}?" if found else f"there are: {', '.join(words)}"
