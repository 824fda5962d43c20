"""A pump whose analysis failed: what is said of it, noted until an analysis of that pump goes through."""

from __future__ import annotations

import json
import traceback
from dataclasses import asdict, dataclass
from pathlib import Path

from api.analysis.write_result import read_mark
from api.store.api_store import ApiStore, write_mark

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


def note_failure(api_store: ApiStore, failed: FailedPump) -> None:
    """Note that a pump's analysis failed, beside how far it had come before."""
    noted = {"what": failed.what, "mark": asdict(read_mark(api_store, failed.pump))}
    with api_store.write() as connection:
        write_mark(connection, _name(failed.pump), json.dumps(noted))


def noted_failure(api_store: ApiStore, pump: str) -> FailedPump | None:
    """Return a pump's failed analysis, ``None`` once a later one has come further.

    A look that goes through moves the pump's mark in the transaction of its results, so that no moment is
    left in which both hold.
    """
    text = api_store.mark(_name(pump))
    if text is None:
        return None
    noted = json.loads(text)
    if noted["mark"] != asdict(read_mark(api_store, pump)):
        return None
    return FailedPump(pump=pump, what=noted["what"])


def _name(pump: str) -> str:
    return f"failed:{pump}"
