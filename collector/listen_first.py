"""How long a line is listened to before anything is asked on it: one length for every command."""

from typing import Final

LISTEN_FIRST_S: Final = 12.0
"""Longer than the ten seconds in which a slow master comes round (common practice) [s]."""
LONGEST_LISTEN_S: Final = 3600.0
