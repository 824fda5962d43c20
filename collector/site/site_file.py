"""Reading a site file, and what must agree between its tables."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from collector.site.data_sheet import DataSheetError, read_data_sheet
from collector.site.models import Bus, Pump, Site, SiteTable
from collector.site.upkeep import Upkeep
from collector.site.upkeep import disagreements as upkeep_disagreements
from collector.toml_file import StrictTable, TomlFileError, did_you_mean, read_table, where

HIGHEST_UNIT_ON_A_LINE = 247
"""Addresses 248 to 255 are reserved on a serial line and 0 means everybody (serial line specification V1.02,
from memory)."""


class SiteFileError(TomlFileError):
    """A site file that cannot be used, in one line."""


class _Document(StrictTable):
    site: SiteTable
    bus: tuple[Bus, ...] = ()
    pump: tuple[Pump, ...] = ()
    upkeep: tuple[Upkeep, ...] = ()


Complaint = tuple[tuple[str | int, ...], str]


def load_site(path: Path) -> Site:
    """Read a site file.

    Raises
    ------
    SiteFileError
        One line that names the file, the line where it can, the key and what was expected.
    """
    try:
        document = read_table(path, _Document)
    except SiteFileError:
        raise
    except TomlFileError as error:
        raise SiteFileError(str(error)) from error
    site = Site(
        **document.site.model_dump(),
        path=path,
        buses=document.bus,
        pumps=document.pump,
        upkeep=document.upkeep,
    )
    for place, words in _disagreements(site):
        raise SiteFileError(f"{where(path, path.read_text(encoding='utf-8-sig'), place)}: {words}")
    return site.model_copy(update={"pumps": tuple(_with_data_sheets(site))})


def _with_data_sheets(site: Site) -> Iterator[Pump]:
    """Give each pump with the curve of the file that it names, or say in one line why not."""
    for number, pump in enumerate(site.pumps):
        if pump.data_sheet_csv is None:
            yield pump
            continue
        try:
            points = read_data_sheet(site.path.parent / pump.data_sheet_csv)
        except DataSheetError as error:
            text = site.path.read_text(encoding="utf-8-sig")
            at = where(site.path, text, ("pump", number, "data_sheet_csv"))
            raise SiteFileError(f"{at}: pump {pump.name!r}: {error}") from error
        yield pump.model_copy(update={"data_sheet": points})


def _disagreements(site: Site) -> Iterator[Complaint]:
    yield from _twice("bus", [bus.name for bus in site.buses])
    yield from _twice("pump", [pump.name for pump in site.pumps])
    yield from _shared_lines(site)
    for number, pump in enumerate(site.pumps):
        yield from _wrong_bus(site, number, pump)
        map_path = site.register_map_path(pump)
        if map_path is not None and not map_path.is_file():
            yield ("pump", number, "register_map"), f"pump {pump.name!r}: there is no file {map_path}"
    yield from _shared_units(site)
    yield from upkeep_disagreements(site.upkeep, [pump.name for pump in site.pumps])


def _twice(kind: str, names: list[str]) -> Iterator[Complaint]:
    for number, name in enumerate(names):
        if name in names[:number]:
            yield (kind, number, "name"), f"there are two of [[{kind}]] with the name {name!r}"


def _shared_lines(site: Site) -> Iterator[Complaint]:
    """Two masters on one line damage each other's traffic, even when both are ours."""
    owners: dict[str, str] = {}
    for number, bus in enumerate(site.buses):
        other = owners.setdefault(bus.place, bus.name)
        if other != bus.name and bus.kind != "tcp":
            yield ("bus", number, "port"), f"bus {bus.name!r} and bus {other!r} are both on {bus.place}"


def _wrong_bus(site: Site, number: int, pump: Pump) -> Iterator[Complaint]:
    names = [bus.name for bus in site.buses]
    if pump.bus is None or pump.unit_id is None:
        return
    if pump.bus not in names:
        hint = did_you_mean(pump.bus, names) if names else "; the file has no [[bus]]"
        yield ("pump", number, "bus"), f"pump {pump.name!r}: there is no bus {pump.bus!r}{hint}"
    elif site.bus(pump.bus).kind != "tcp" and not 1 <= pump.unit_id <= HIGHEST_UNIT_ON_A_LINE:
        words = f"unit_id should be 1 to {HIGHEST_UNIT_ON_A_LINE}, not {pump.unit_id}"
        yield ("pump", number, "unit_id"), f"pump {pump.name!r}: {words}"


def _shared_units(site: Site) -> Iterator[Complaint]:
    owners: dict[tuple[str, int], str] = {}
    for number, pump in enumerate(site.pumps):
        if pump.bus is None or pump.unit_id is None:
            continue
        other = owners.setdefault((pump.bus, pump.unit_id), pump.name)
        if other != pump.name:
            words = f"both have unit_id {pump.unit_id} on bus {pump.bus!r}"
            yield ("pump", number, "unit_id"), f"pumps {other!r} and {pump.name!r} {words}"
