"""What a site file may hold. Units are in the names; nothing here is guessed from anything else."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal
from zoneinfo import ZoneInfo

from pydantic import AfterValidator, Field, model_validator

from collector.listen_first import LISTEN_FIRST_S, LONGEST_LISTEN_S
from collector.site.address import reachable
from collector.site.data_sheet import DataSheetPoint
from collector.site.fields import LONGEST_NAME, Name, Positive, Text
from collector.site.nameplate import Control, Nameplate, Taps
from collector.site.upkeep import Upkeep
from collector.toml_file import Number, StrictTable, Whole

if TYPE_CHECKING:
    from collector.bus.line_setting import LineSetting

SECONDS_A_DAY = 86_400
SLOW_BAUD = 9_600
"""The slower of the two speeds every device on a line must support (serial line specification V1.02, from
memory)."""
BAUDS = (
    1_200, 2_400, 4_800, 9_600, 14_400, 19_200, 28_800, 38_400, 57_600, 76_800, 115_200, 128_000, 230_400,
    250_000, 256_000, 460_800, 500_000, 576_000, 921_600,
)  # fmt: skip
"""The speeds that drives and adapters offer (common practice)."""
_SERIAL_ONLY = {
    "serial": set[str](),
    "tcp": {"baud", "parity", "stop_bits"},
    "rtu_over_tcp": {"parity", "stop_bits"},
}


def _known_zone(name: str) -> str:
    try:
        ZoneInfo(name)
    except (KeyError, ValueError, OSError) as error:
        raise ValueError(f"{name!r} is no time zone; expected one such as 'Europe/Lisbon'") from error
    return name


def _line_speed(baud: int) -> int:
    if baud not in BAUDS:
        raise ValueError(f"should be a speed of serial lines ({', '.join(map(str, BAUDS))}), not {baud}")
    return baud


Period = Annotated[Number, Field(ge=0.1, le=SECONDS_A_DAY)]
Wait = Annotated[Number, Field(ge=0.01, le=60)]
Known = Literal["measured", "estimated", "unknown"]


class Provenance(StrictTable):
    """How the drive comes by each channel; what is not stated is unknown, never assumed."""

    speed: Known = "unknown"
    power: Known = "unknown"
    flow: Known = "unknown"
    head: Known = "unknown"


class Bus(StrictTable):
    """A line that carries one request at a time.

    ``interval_s`` [s] is the period of its scans, ``timeout_s`` [s] how long a drive may take to begin its
    answer, ``late_reply_s`` [s] the longest a drive has been seen to answer after that. Behind a gateway for
    serial frames, ``baud`` [1/s] is that of the line behind it: the silences are kept there too. With
    ``listen_only`` nobody is asked: readings are taken from what another master on the line is answered.
    Else a serial port is listened to for ``listen_first_s`` [s] each time before it is opened for asking, and
    not asked while another master is heard; 0 leaves that out, for a line that is known to have no other.
    """

    name: Name
    kind: Literal["serial", "tcp", "rtu_over_tcp"]
    port: Annotated[str | int, Field(union_mode="left_to_right")] | None = None
    baud: Annotated[Whole, AfterValidator(_line_speed)] = 19_200
    parity: Literal["E", "O", "N"] = "E"
    stop_bits: Literal[1, 2] = 1
    host: Name | None = None
    timeout_s: Wait = 0.5
    interval_s: Period = 10.0
    late_reply_s: Wait = 1.0
    listen_only: Annotated[bool, Field(strict=True)] = False
    listen_first_s: Annotated[Number, Field(ge=0, le=LONGEST_LISTEN_S)] = LISTEN_FIRST_S

    @model_validator(mode="after")
    def _says_where_it_is(self) -> Bus:
        if self.listen_only and self.kind != "serial":
            raise ValueError(
                f"listen_only needs a serial port; on a {self.kind} bus nothing of others is heard"
            )
        if self.kind == "serial":
            if not isinstance(self.port, str) or self.host is not None:
                raise ValueError('a serial bus needs port = "/dev/serial/by-id/..." or "COM3", and no host')
        elif self.host is None or isinstance(self.port, str | bool):
            raise ValueError(f'a {self.kind} bus needs host = "..." and, unless it is 502, port = a number')
        elif not 1 <= self.tcp_port <= 65_535:
            raise ValueError(f"port should be between 1 and 65535, not {self.port}")
        elif "listen_first_s" in self.model_fields_set:
            raise ValueError(
                f"listen_first_s needs a serial port; on a {self.kind} bus nothing of others is heard"
            )
        elif self.model_fields_set & _SERIAL_ONLY[self.kind]:
            raise ValueError(
                "parity and stop_bits, and baud for tcp, are the gateway's own settings, not ours"
            )
        return self

    @property
    def line_baud(self) -> int:
        """The speed that silences are kept for; behind a gateway, unless stated, the slow standard one."""
        return SLOW_BAUD if self.kind != "serial" and "baud" not in self.model_fields_set else self.baud

    @property
    def line_setting(self) -> LineSetting:
        """How the serial port is set; behind a gateway that is the gateway's own affair."""
        # The bus room opens what is described here, and imports it.
        from collector.bus.line_setting import LineSetting

        return LineSetting(self.baud, self.parity, self.stop_bits)

    @property
    def tcp_port(self) -> int:
        """The network port; 502 is the one registered for the protocol."""
        return self.port if isinstance(self.port, int) else 502

    @property
    def place(self) -> str:
        """The port or the host, as a message names it."""
        return str(self.port) if self.kind == "serial" else f"{self.host}:{self.tcp_port}"


class Pump(StrictTable):
    """A pump and its drive. One without a bus is fed by imports alone.

    ``interval_s`` [s] is how often it is read (default: its bus's), or how far apart its imported rows are.
    A loss of head is raised from ``head_loss_notice_pct`` on, once its evidence is ``head_loss_evidence_sd``
    standard errors wide; what is not stated is left to the analysis. ``data_sheet_csv`` names a file
    beside the site file that holds what ``data_sheet`` else would.
    """

    name: Name
    bus: Name | None = None
    unit_id: Annotated[Whole, Field(ge=0, le=255)] | None = None
    register_map: Annotated[str, Field(min_length=1, max_length=1000)] | None = None
    provenance: Provenance = Provenance()
    rated_speed_rpm: Positive | None = None
    rated_power_w: Positive | None = None
    location: Text = ""
    system: Text = ""
    duty: Text = ""
    fluid: Literal["water", "propylene_glycol", "ethylene_glycol"] = "water"
    glycol_mass_pct: Annotated[Number, Field(ge=0, le=60)] = 0.0
    fluid_temperature_c: Annotated[Number, Field(ge=-50, le=200)] | None = None
    starts_per_hour_limit: Positive | None = None
    head_loss_notice_pct: Annotated[Number, Field(ge=0.5, le=20)] | None = None
    head_loss_evidence_sd: Annotated[Number, Field(ge=3, le=20)] | None = None
    data_sheet: tuple[DataSheetPoint, ...] = ()
    data_sheet_csv: Annotated[str, Field(min_length=1, max_length=1000)] | None = None
    interval_s: Period | None = None
    nameplate: Nameplate = Nameplate()
    taps: Taps = Taps()
    control: Control = Control()

    @model_validator(mode="after")
    def _agrees_with_itself(self) -> Pump:
        if self.bus is not None and (self.unit_id is None or self.register_map is None):
            raise ValueError(f"pump {self.name!r} has a bus, so it also needs unit_id and register_map")
        if self.bus is None and (self.unit_id is not None or self.register_map is not None):
            raise ValueError(f"pump {self.name!r} has a unit_id or a register_map, so it also needs bus")
        if self.data_sheet and self.data_sheet_csv is not None:
            raise ValueError(f"pump {self.name!r} has data_sheet and data_sheet_csv; one of them is enough")
        flows = [point.flow_m3h for point in self.data_sheet]
        twice = next((flow for place, flow in enumerate(flows) if flow in flows[:place]), None)
        if twice is not None:
            raise ValueError(f"pump {self.name!r}: data_sheet has two points at flow_m3h = {twice:g}")
        if self.fluid == "water" and self.glycol_mass_pct:
            raise ValueError(f"pump {self.name!r} holds water, so glycol_mass_pct should be left out")
        return self


class SiteTable(StrictTable):
    """The ``[site]`` table of the file.

    ``address`` is where a phone on the site's network reaches these pages, for the labels on the pumps.
    """

    name: Name
    time_zone: Annotated[str, Field(max_length=LONGEST_NAME), AfterValidator(_known_zone)]
    units: Literal["SI", "US"] = "SI"
    price_per_kwh: Annotated[Number, Field(ge=0)] | None = None
    currency: Annotated[str, Field(max_length=10)] = ""
    database: Annotated[str, Field(min_length=1, max_length=1000)] | None = None
    address: Annotated[str, Field(max_length=LONGEST_NAME), AfterValidator(reachable)] | None = None


class Site(SiteTable):
    """A site as its file states it; ``path`` is that file."""

    path: Path
    buses: tuple[Bus, ...] = ()
    pumps: tuple[Pump, ...] = ()
    upkeep: tuple[Upkeep, ...] = ()

    @property
    def database_url(self) -> str:
        """Where readings are kept: an SQLite file beside the site file, unless the file says otherwise."""
        if self.database is None:
            return f"sqlite:///{self.path.resolve().with_suffix('.sqlite')}"
        scheme, mark, file = self.database.partition("sqlite:///")
        if mark and not scheme:
            return f"sqlite:///{self.path.resolve().parent / file}"
        return self.database

    def register_map_path(self, pump: Pump) -> Path | None:
        """Return the file of the pump's register map; the site file names it relative to itself."""
        return None if pump.register_map is None else self.path.parent / pump.register_map

    def bus(self, name: str) -> Bus:
        """Return the bus of this name; KeyError when there is none."""
        return {bus.name: bus for bus in self.buses}[name]

    def pump(self, name: str) -> Pump:
        """Return the pump of this name; KeyError when there is none."""
        return {pump.name: pump for pump in self.pumps}[name]

    def pumps_on(self, bus: Bus) -> tuple[Pump, ...]:
        """Return the pumps of a bus in the order of the file."""
        return tuple(pump for pump in self.pumps if pump.bus == bus.name)
