"""How a pump's name stands in a narrow column: parted between words, never inside one."""

from __future__ import annotations

from typing import Final

_LONGEST_WHOLE: Final = 18
"""Letters of a word that a column of a table always has room for (our own choice)."""


def is_breakable(name: str) -> bool:
    """Return whether a word of the name is so long that it may be parted rather than widen the page.

    >>> is_breakable("Diving pool circulation"), is_breakable("X" * 40)
    (False, True)
    """
    return any(len(word) > _LONGEST_WHOLE for word in name.split())
