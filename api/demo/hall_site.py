"""The demonstration's site file and register maps, written where the simulated drives were found."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping, Sequence
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

SITE_FILE: Final = "site.toml"
_HEADER: Final = """\
# The swimming hall of Tarnholme, a place of our own invention. Its drives are simulated.
[site]
name = "Tarnholme swimming hall"
time_zone = "Europe/Lisbon"
units = "{units}"
price_per_kwh = 0.24
currency = "EUR"
"""
_PARITIES: Final = ("port", "baud", "parity", "stop_bits", "host")


def write_site(
    folder: Path, units: str, buses: Sequence[Mapping[str, Any]], places: Mapping[str, Mapping[str, Any]]
) -> Path:
    """Write the site file and its register maps into the folder; return the site file.

    ``buses`` and ``places`` are what the simulator says it listens on: a bus by name, kind and address, and
    each pump's bus, unit id and map.
    """
    maps = folder / "maps"
    maps.mkdir(parents=True, exist_ok=True)
    for source in files("api.demo").joinpath("maps").iterdir():
        (maps / source.name).write_bytes(source.read_bytes())
    path = folder / SITE_FILE
    path.write_text("\n".join(_lines(units, buses, places)), encoding="utf-8")
    return path


def simulated_name(pump: str) -> str:
    """Return the simulator's word for a pump of the site file.

    >>> simulated_name("Diving pool circulation")
    'diving_pool_circulation'
    """
    return pump.lower().replace(" ", "_")


def _lines(
    units: str, buses: Sequence[Mapping[str, Any]], places: Mapping[str, Mapping[str, Any]]
) -> Iterable[str]:
    yield _HEADER.format(units=units)
    for bus in buses:
        yield "[[bus]]"
        yield from _table({"name": bus["name"], "kind": bus["kind"], "interval_s": 10})
        yield from _table({key: bus[key] for key in _PARITIES if key in bus})
        yield ""
    for table in _pump_tables():
        yield table.rstrip()
        yield from _place(places[simulated_name(tomllib.loads(table)["pump"][0]["name"])])
        yield ""
    yield files("api.demo").joinpath("upkeep.toml").read_text(encoding="utf-8")


def _pump_tables() -> list[str]:
    text = files("api.demo").joinpath("pumps.toml").read_text(encoding="utf-8")
    return ["[[pump]]" + table for table in text.split("[[pump]]")[1:]]


def _place(place: Mapping[str, Any]) -> Iterable[str]:
    register_map = f"maps/{str(place['map']).lower()}.toml"
    return _table({"bus": place["bus"], "unit_id": place["unit_id"], "register_map": register_map})


def _table(values: Mapping[str, Any]) -> Iterable[str]:
    for key, value in values.items():
        yield f"{key} = {value}" if isinstance(value, int) else f'{key} = "{value}"'
