"""Every word about findings, causes, checks, cautions and states, by code.

The facts of the trade in here are common practice unless a source stands beside them. Words are kept plain:
what it is, what it looks like, what to check next, and what can hurt somebody while doing so.
"""

from __future__ import annotations


def plain(code: str) -> str:
    """Return a code as words, for a code that nobody has worded yet.

    >>> plain("wet_sock")
    'wet sock'
    """
    return code.replace("_", " ").strip()
