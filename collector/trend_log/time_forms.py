"""Which common forms of times fit a log's own, so that a person need not know the codes of a form."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Final

_DATES: Final = (
    "%m/%d/%Y",
    "%d/%m/%Y",
    "%d.%m.%Y",
    "%d-%m-%Y",
    "%m/%d/%y",
    "%d/%m/%y",
    "%d-%b-%y",
    "%d-%b-%Y",
)
_CLOCKS: Final = ("%I:%M:%S %p", "%I:%M %p", "%H:%M:%S", "%H:%M")
"""As building systems export them (common practice)."""


def forms_that_fit(cells: Sequence[str]) -> list[str]:
    """Return the common forms that read every one of these times; none for no times.

    >>> forms_that_fit(["05/25/2026 12:10:00 AM"])
    ['%m/%d/%Y %I:%M:%S %p']
    >>> forms_that_fit(["05.04.2026 12:10", "06.04.2026 12:10"])
    ['%d.%m.%Y %H:%M']
    """
    if not cells:
        return []
    forms = (f"{date} {clock}" for date in _DATES for clock in _CLOCKS)
    return [form for form in forms if all(_fits(cell.strip(), form) for cell in cells)]


def _fits(cell: str, form: str) -> bool:
    try:
        datetime.strptime(cell, form)  # noqa: DTZ007 - only whether it can be read
    except ValueError:
        return False
    return True


def form_hint(cells: Sequence[str]) -> str:
    """Return how the form of such times is said to an import.

    >>> form_hint(["05/04/2026 00:10"])
    'its form can be given: --time-format "%m/%d/%Y %H:%M" or --time-format "%d/%m/%Y %H:%M"'
    >>> form_hint(["soon"])
    'its form can be given with --time-format, such as "%m/%d/%Y %I:%M:%S %p"'
    """
    fitting = [f'--time-format "{form}"' for form in forms_that_fit(cells)]
    if fitting:
        return f"its form can be given: {' or '.join(fitting)}"
    return f'its form can be given with --time-format, such as "{_DATES[0]} {_CLOCKS[0]}"'
