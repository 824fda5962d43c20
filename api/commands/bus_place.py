"""The line or the host that a command is pointed at, before there is a site file."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final, Literal

from api.commands import Refusal

if TYPE_CHECKING:
    from collector.bus.line_setting import LineSetting
    from collector.site import Bus

Kind = Literal["serial", "tcp", "rtu_over_tcp"]
KINDS: Final[tuple[Kind, ...]] = ("serial", "tcp", "rtu_over_tcp")
_PORT: Final = re.compile(r"COM\d+|.*[/\\].*", re.IGNORECASE)
_HOST: Final = re.compile(r"(?:\[(?P<v6>[^\]]+)\]|(?P<name>[^:\[\]]+))(?::(?P<port>\d{1,5}))?")


def bus_at(place: str, kind: Kind | None, name: str, setting: LineSetting | None = None) -> Bus:
    """Return the bus at a serial port, or at HOST, HOST:PORT or [ADDRESS]:PORT with its kind.

    Raises
    ------
    Refusal
        One line that says how to write it.
    """
    from pydantic import ValidationError

    from collector.site import Bus

    kind = kind or ("serial" if _PORT.fullmatch(place) else None)
    if kind is None:
        raise Refusal(f"{place}: is it a host? Then say --kind tcp or --kind rtu_over_tcp")
    try:
        if kind != "serial":
            found = _HOST.fullmatch(place)
            if found is None:
                raise Refusal(f"a host is written HOST, HOST:PORT or [ADDRESS]:PORT, not {place!r}")
            port = int(found["port"]) if found["port"] else None
            return Bus(name=name, kind=kind, host=found["v6"] or found["name"], port=port)
        if setting is None:
            return Bus(name=name, kind=kind, port=place)
        return Bus(
            name=name, kind=kind, port=place,
            baud=setting.baud, parity=setting.parity, stop_bits=setting.stop_bits,
        )  # fmt: skip
    except ValidationError as error:
        words = error.errors(include_url=False)[0]["msg"].removeprefix("Value error, ")
        raise Refusal(f"{place}: {words}") from error
