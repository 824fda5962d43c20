"""What was read of one pump at one instant: values in SI units, and how good each is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import IntEnum, StrEnum
from typing import Final

from collector.quantities import QUANTITY_NAMES

_BITS_A_QUANTITY: Final = 4


class Quality(IntEnum):
    """Why a value is what it is. Only ``GOOD`` carries a value; the others explain its absence."""

    GOOD = 0
    NO_VALUE = 1
    """The drive sent the value that its map says means "no reading"."""
    IMPOSSIBLE = 2
    """Decoded to something no pump can be: not a number, infinite, or outside the quantity's limits."""
    REFUSED = 3
    """The drive answered with an exception for this register."""
    NO_REPLY = 4
    """The block that holds this quantity was not answered, though another block of the pump was."""
    UNREADABLE = 5
    """A cell of a trend log that is no number."""


class Source(IntEnum):
    """How a reading came to us."""

    POLLED = 0
    HEARD = 1
    """By listening to somebody else's polling."""
    IMPORTED = 2


def pack_quality(qualities: Mapping[str, Quality]) -> int:
    """Pack the quality of each quantity into one whole number, four bits each; 0 means all good.

    >>> unpack_quality(pack_quality({"head_m": Quality.NO_VALUE}))["head_m"].name
    'NO_VALUE'
    """
    return sum(
        int(qualities.get(name, Quality.GOOD)) << (_BITS_A_QUANTITY * place)
        for place, name in enumerate(QUANTITY_NAMES)
    )


def unpack_quality(packed: int) -> dict[str, Quality]:
    """Return the quality of every quantity, the inverse of :func:`pack_quality`."""
    mask = (1 << _BITS_A_QUANTITY) - 1
    return {
        name: Quality((packed >> (_BITS_A_QUANTITY * place)) & mask)
        for place, name in enumerate(QUANTITY_NAMES)
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One pump at one instant: when the drive's answer arrived, in milliseconds UTC.

    A quantity that was not asked for, or has no good value, is ``None``; ``quality`` (packed, see
    :func:`pack_quality`) tells the two apart. Names and units are those of ``collector.quantities``.
    """

    pump: str
    time_utc_ms: int
    speed_rpm: float | None = None
    power_w: float | None = None
    flow_m3h: float | None = None
    head_m: float | None = None
    fluid_temperature_c: float | None = None
    drive_temperature_c: float | None = None
    current_a: float | None = None
    energy_kwh: float | None = None
    run_time_h: float | None = None
    starts: int | None = None
    speed_command_pct: float | None = None
    status_word: int | None = None
    fault_code: int | None = None
    quality: int = 0
    source: Source = Source.POLLED


class FailureKind(StrEnum):
    """Why a pump could not be read in a scan."""

    NO_LINK = "no_link"
    """The port could not be opened, or the host did not accept."""
    NO_REPLY = "no_reply"
    """Silence until the time-out."""
    DAMAGED = "damaged"
    """Bytes came, but no frame with a good checksum and the shape asked for."""
    REFUSED = "refused"
    """An exception answer to every block."""
    ECHO = "echo"
    """Our own request came back and nothing else."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PollFailure:
    """A scan of one pump that gave no reading: when, why, and a sentence for a person."""

    pump: str
    time_utc_ms: int
    kind: FailureKind
    sentence: str
