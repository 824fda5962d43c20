"""A pump whose analysis failed: what is said of it, noted until an analysis of that pump goes through."""

from __future__ import annotations

import json
import traceback
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Final

from api.analysis.pump_pass import number_of_events, settings_of
from api.analysis.write_result import read_mark
from api.analytics.facts import PumpFacts
from api.analytics.spans import HOUR_MS
from api.store.api_store import ApiStore, write_mark

RETRY_MS: Final = HOUR_MS
"""A pump that failed is tried again once an hour more of it has closed, not with each of its readings."""

ROOT = Path(__file__).parents[2]


@dataclass(frozen=True, slots=True, kw_only=True)
class FailedPump:
    """A pump that could not be analysed; ``what`` is the trouble and the place in the program, one line."""

    pump: str
    what: str

    @property
    def sentence(self) -> str:
        """What a person is told."""
        return (
            f"{self.pump}: analysis failed ({self.what}); its readings are kept, and what is said of it "
            "is as of its last analysis. This is a fault of the program: please report it with this line"
        )


def failed_pump(pump: str, error: Exception) -> FailedPump:
    """Return what is said of an error that came while a pump was analysed."""
    words = " ".join(str(error).split())
    named = f"{type(error).__name__}: {words}" if words else type(error).__name__
    return FailedPump(pump=pump, what=f"{named}, at {_place(error)}")


def _place(error: Exception) -> str:
    """Return where in this program the error came up: its innermost line of ours."""
    frames = traceback.extract_tb(error.__traceback__)
    own = [frame for frame in frames if Path(frame.filename).is_relative_to(ROOT / "api")]
    if not own:
        return "an unknown place"
    return f"{Path(own[-1].filename).relative_to(ROOT).as_posix()}:{own[-1].lineno}"


def note_failure(api_store: ApiStore, failed: FailedPump, facts: PumpFacts, now_utc_ms: int) -> None:
    """Note that a pump's analysis failed, when and by which facts, beside how far it had come before."""
    noted = {
        "what": failed.what,
        "mark": asdict(read_mark(api_store, failed.pump)),
        "stated": _stated(facts),
        "tried_utc_ms": now_utc_ms,
    }
    with api_store.write() as connection:
        write_mark(connection, _name(failed.pump), json.dumps(noted))


def noted_failure(api_store: ApiStore, pump: str) -> FailedPump | None:
    """Return a pump's failed analysis, ``None`` once a later one has come further.

    A look that goes through moves the pump's mark in the transaction of its results, so that no moment is
    left in which both hold.
    """
    noted = _noted(api_store, pump)
    return None if noted is None else FailedPump(pump=pump, what=noted["what"])


def not_yet_again(api_store: ApiStore, facts: PumpFacts, now_utc_ms: int) -> FailedPump | None:
    """Return a pump's failed analysis while it would be no use to try again, else ``None``.

    It is tried again when a person has stated something else, when ``RETRY_MS`` have passed, and when the
    clock was set back.
    """
    noted = _noted(api_store, facts.pump)
    if noted is None or noted.get("stated") != _stated(facts):
        return None
    is_early = 0 <= now_utc_ms - noted["tried_utc_ms"] < RETRY_MS
    return FailedPump(pump=facts.pump, what=noted["what"]) if is_early else None


def _noted(api_store: ApiStore, pump: str) -> dict[str, Any] | None:
    text = api_store.mark(_name(pump))
    noted = None if text is None else json.loads(text)
    still_there = noted is not None and noted["mark"] == asdict(read_mark(api_store, pump))
    return noted if still_there else None


def _stated(facts: PumpFacts) -> list[int]:
    return [number_of_events(facts), settings_of(facts)]


def _name(pump: str) -> str:
    return f"failed:{pump}"
