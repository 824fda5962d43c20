"""What a form is told: what was typed before, and what is wrong with it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True, kw_only=True)
class FormView:
    """A form as it is shown: ``values`` were typed, ``mistakes`` stand beside their fields, by field name.

    The empty name in ``mistakes`` is the form as a whole. A new form holds neither.
    """

    values: Mapping[str, str] = field(default_factory=dict)
    mistakes: Mapping[str, str] = field(default_factory=dict)

    def value(self, name: str, first: str = "") -> str:
        """Return what was typed into a field; ``first`` in a form that nobody has sent yet."""
        return self.values.get(name, "") if self.is_sent else self.values.get(name, first)

    def is_ticked(self, name: str) -> bool:
        """Return whether a box was ticked."""
        return bool(self.values.get(name))

    @property
    def is_sent(self) -> bool:
        """Whether this is a form that came back with mistakes."""
        return bool(self.mistakes)
