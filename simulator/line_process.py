"""One shared serial line as a process, with live pumps behind it, to try listening, survey and match on.

It speaks in JSON lines on standard output: first where the port is and what hangs on the line, then every few
seconds what stands on each drive's panel. A line ``speed UNIT PERCENT`` on standard input turns a pump to
that share of its rated speed, as a hand at the panel would. It ends as ``simulator.ending`` says.
"""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

from simulator.drives import MAPS, Drive, DriveMap, PanelLine, RandomMap, panel_of_map, random_drive_map
from simulator.drives.panel import QUANTITIES
from simulator.drives.registers import Image, image_of
from simulator.ending import told_to_end
from simulator.lines import BadWire, Disturbance, ForeignMaster, LineSetting, PortWiring, SharedLine, running
from simulator.lines.foreign_master import Read
from simulator.live import LiveRun, SimulatedClock
from simulator.plant import ControlSpec, CurveSpec, PumpPlant, PumpSpec, SystemSpec, build_pump

RANDOM: Final = "random"
_REMEMBERED: Final = 100
_TWIN_TURN_AROUND_S: Final = 0.0045
"""Half a millisecond after the other: they begin in the midst of each other's first character."""
_HEAD_OF_WATER_W: Final = 998.2 * 9.80665 / 3600
"""Watts that lift 1 m3/h by 1 m (water at 20 C; common practice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LineOptions:
    """What to run; ``units`` has the name of each unit's map, by number, in their order on the line."""

    setting: LineSetting
    units: Sequence[tuple[int, str]]
    seed: int = 1
    first_map_seed: int = 1
    """Of the table of the first unit, if it is made by chance; the next unit has the next one's."""
    master_every_s: float | None = None
    same_address: bool = False
    lump_s: float = 0.0
    panel_every_s: float = 5.0
    turn_around_s: float = 0.004
    speed_up: float = 1.0
    speeds_pct: Sequence[float] = ()
    """The pumps go through these speeds again and again, each for ``each_speed_s``."""
    each_speed_s: float = 60.0
    disturbance: Disturbance = field(default_factory=Disturbance)
    wire: BadWire = field(default_factory=BadWire)
    port: PortWiring = field(default_factory=PortWiring)


class _PanelDrive(Drive):
    """A drive that remembers what it shows, for its panel."""

    def __init__(self, unit_id: int, of: DriveMap | RandomMap, spec: PumpSpec, turn_around_s: float) -> None:
        super().__init__(unit_id, of.map if isinstance(of, RandomMap) else of, turn_around_s)
        self._of = of
        self._panel: Sequence[PanelLine] = (
            of.panel if isinstance(of, RandomMap) else panel_of_map(of, _rated(spec))
        )
        self.values: Mapping[str, float] = {}

    def show(self, values: Mapping[str, float]) -> None:
        self.image = self._image(values)
        self.values = values

    def panel(self) -> dict[str, str]:
        return {line.quantity: line.text_of(self.values[line.quantity]) for line in self._panel}

    def _image(self, values: Mapping[str, float]) -> Image:
        return self._of.image_of(values) if isinstance(self._of, RandomMap) else image_of(self._of, values)


def run_line(options: LineOptions) -> int:
    """Run the line until told to end; returns the exit code."""
    if sys.platform == "win32":
        print("owncurve simulate line: needs pseudo-terminals, which Windows has not", file=sys.stderr)
        return 1
    from simulator.lines.terminal_end import TerminalEnd

    drives, plants = _drives_and_plants(options)
    to_end = told_to_end(lambda line: _heed(drives, plants, line))
    now_ms = time.time_ns() // 1_000_000
    run = LiveRun(plants, drives, SimulatedClock(now_ms, now_ms, options.speed_up))
    run.start()
    end = TerminalEnd()
    with running(_line(options, list(drives.values())), end, options.lump_s):
        _say(_listening(options, end.port, list(drives.values())))
        begun_s = time.monotonic()
        while not to_end.wait(options.panel_every_s):
            for drive in drives.values():
                _say({"event": "panel", "unit_id": drive.unit_id, "shows": drive.panel()})
            for plant in plants.values() if options.speeds_pct else ():
                place = int((time.monotonic() - begun_s) / options.each_speed_s)
                _turn(plant, options.speeds_pct[place % len(options.speeds_pct)])
    run.stop()
    return 0


def _drives_and_plants(options: LineOptions) -> tuple[dict[str, _PanelDrive], dict[str, PumpPlant]]:
    drives: dict[str, _PanelDrive] = {}
    plants: dict[str, PumpPlant] = {}
    units = [*options.units, options.units[0]] if options.same_address else options.units
    for place, (unit_id, map_name) in enumerate(units):
        is_twin = place == len(options.units)
        of = random_drive_map(options.first_map_seed + place) if map_name == RANDOM else MAPS[map_name]
        spec = _spec_for(of, f"{place}")
        turn_around_s = options.turn_around_s + (_TWIN_TURN_AROUND_S - 0.004 if is_twin else 0.0)
        drives[spec.name] = _PanelDrive(unit_id, of, spec, turn_around_s)
        plants[spec.name] = build_pump(spec, options.seed + place)
    return drives, plants


def _spec_for(of: DriveMap | RandomMap, name: str) -> PumpSpec:
    """Return a pump at nine tenths of its speed; one of a size with a map made by chance."""
    control = ControlSpec(mode="constant_speed", setpoint=0.9)
    if not isinstance(of, RandomMap):
        return PumpSpec(name=name, control=control)
    rated = of.rated
    flow, head = rated["flow_m3h"], rated["head_m"]
    curve = CurveSpec(
        rated_speed_rpm=rated["speed_rpm"],
        rated_power_w=rated["power_w"] * 1.15,
        best_flow_m3h=flow,
        best_head_m=head,
        best_efficiency=min(0.85, 1.1 * _HEAD_OF_WATER_W * flow * head / rated["power_w"]),
    )
    system = SystemSpec(design_flow_m3h=0.9 * flow, design_head_m=0.75 * head)
    return PumpSpec(name=name, curve=curve, system=system, control=control)


def _rated(spec: PumpSpec) -> dict[str, float]:
    curve = spec.curve
    return {
        "speed_rpm": curve.rated_speed_rpm,
        "power_w": curve.rated_power_w,
        "flow_m3h": curve.best_flow_m3h,
        "head_m": curve.best_head_m,
    }


def _line(options: LineOptions, drives: Sequence[_PanelDrive]) -> SharedLine:
    masters = []
    if options.master_every_s is not None:
        reads = [read for drive in drives[: len(options.units)] for read in reads_of(drive)]
        masters = [ForeignMaster(reads=reads, every_s=options.master_every_s)]
    return SharedLine(
        options.setting,
        drives,
        masters,
        disturbance=options.disturbance,
        wire=options.wire,
        port=options.port,
        seed=options.seed,
        keeps=_REMEMBERED,
    )


def reads_of(drive: Drive) -> list[Read]:
    """Return the reads by which a master gets the four quantities: one for each run of neighbours."""
    places = sorted(
        (register.table, register.address, register.words)
        for register in drive.map.registers
        if register.quantity in QUANTITIES
    )
    reads: list[Read] = []
    for table, address, words in places:
        function = 4 if table == "input" else 3
        if reads and reads[-1][1] == function and sum(reads[-1][2:]) == address:
            reads[-1] = (*reads[-1][:3], reads[-1][3] + words)
        else:
            reads.append((drive.unit_id, function, address, words))
    return reads


def _listening(options: LineOptions, port: str, drives: Sequence[_PanelDrive]) -> dict[str, object]:
    setting = options.setting
    return {
        "event": "listening",
        "port": port,
        "baud": setting.baud,
        "parity": setting.parity,
        "stop_bits": setting.stop_bits,
        "units": [{"unit_id": drive.unit_id, "map": drive.map.name} for drive in drives],
        "master_every_s": options.master_every_s,
    }


def _say(event: Mapping[str, object]) -> None:
    print(json.dumps(event), flush=True)


def _heed(drives: Mapping[str, Drive], plants: Mapping[str, PumpPlant], line: bytes) -> None:
    """Turn the pumps of a unit by ``speed UNIT PERCENT``."""
    words = line.decode("ascii", "replace").split()
    if len(words) == 3 and words[0] == "speed" and words[1].isdecimal() and words[2].isdecimal():
        for name, drive in drives.items():
            if drive.unit_id == int(words[1]):
                _turn(plants[name], int(words[2]))
    elif words:
        print(f"owncurve simulate line: expected 'speed UNIT PERCENT', got {line!r}", file=sys.stderr)


def _turn(plant: PumpPlant, percent: float) -> None:
    control = replace(plant.spec.control, setpoint=percent / 100)
    plant.spec = replace(plant.spec, control=control)
