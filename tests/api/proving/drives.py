"""Drives for trials of proofs: registers from the simulator's codec, pumps from a formula of our own here."""

from __future__ import annotations

import random
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from api.proving import Proof, Sample, Stated, Verdict, prove, read_typed_map
from collector.site import DataSheetPoint
from simulator.drives import DriveMap, Register, image_of

GRAVITY = 9.80665
START_MS = 1_780_272_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialPump:
    """A pump by its best point at rated speed; ``efficiency`` [-] is wire to water there.

    Head falls by a quarter of its shutoff value to the best point; power at no flow is half of the best's.
    """

    rated_speed_rpm: float
    flow_m3h: float
    head_m: float
    efficiency: float
    head_factor: float = 1.0
    power_factor: float = 1.0

    @property
    def power_w(self) -> float:
        return 998.2 * GRAVITY * self.flow_m3h / 3600 * self.head_m / self.efficiency

    def values(self, speed_share: float, flow_share: float, hours: float = 0.0) -> dict[str, float]:
        """Return what the drive would know at a share of rated speed and of the best flow at that speed."""
        power_w = self.power_w * speed_share**3 * (0.5 + 0.5 * flow_share) * self.power_factor
        head_m = self.head_m / 0.75 * speed_share**2 * (1 - 0.25 * flow_share**2) * self.head_factor
        return {
            "speed_rpm": self.rated_speed_rpm * speed_share,
            "power_w": power_w,
            "flow_m3h": self.flow_m3h * speed_share * flow_share,
            "head_m": head_m,
            "fluid_temperature_c": 41.0,
            "drive_temperature_c": 38.0,
            "current_a": 0.3 + power_w / 600,
            "energy_kwh": 1234.5 + power_w / 1000 * hours,
            "run_time_h": 987.0 + hours,
            "starts": 41.0,
            "speed_command_pct": 100 * speed_share,
            "status_word": 3.0,
            "fault_code": 0.0,
        }

    def sheet(self, shaft: float = 1.0) -> tuple[DataSheetPoint, ...]:
        """Return the printed curve; ``shaft`` is the printed power over the drawn one."""
        new = TrialPump(
            rated_speed_rpm=self.rated_speed_rpm, flow_m3h=self.flow_m3h, head_m=self.head_m,
            efficiency=self.efficiency,
        )  # fmt: skip
        points = [new.values(1.0, share) for share in (0.0, 0.25, 0.5, 0.75, 1.0, 1.2)]
        return tuple(
            DataSheetPoint(
                flow_m3h=point["flow_m3h"], head_m=point["head_m"], power_w=shaft * point["power_w"]
            )
            for point in points
        )


SMALL = TrialPump(rated_speed_rpm=4400, flow_m3h=3.2, head_m=5.0, efficiency=0.4)
MIDDLE = TrialPump(rated_speed_rpm=2900, flow_m3h=32.0, head_m=11.0, efficiency=0.62)
LARGE = TrialPump(rated_speed_rpm=1460, flow_m3h=240.0, head_m=22.0, efficiency=0.76)
PUMPS = {"small": SMALL, "middle": MIDDLE, "large": LARGE}


def stated(pump: TrialPump, *, sheet: bool = True, shaft: float = 1.0) -> Stated:
    return Stated(
        rated_speed_rpm=pump.rated_speed_rpm,
        rated_power_w=round(pump.power_w * 1.1),
        sheet=pump.sheet(shaft) if sheet else (),
    )


def image_words(drive: DriveMap, values: Mapping[str, float]) -> dict[tuple[str, int], bytes]:
    return {place: word.to_bytes(2, "big") for place, word in image_of(drive, values).items()}


def looks(
    drive: DriveMap,
    pump: TrialPump,
    duties: Sequence[tuple[float, float]],
    *,
    every_s: float = 10.0,
    seed: int = 1,
) -> list[Sample]:
    """Return looks at a drive whose pump goes through these duties, with half a per cent of noise."""
    noise = random.Random(seed)
    samples = []
    for place, (speed, flow) in enumerate(duties):
        values = pump.values(speed, flow, hours=place * every_s / 3600)
        for name in ("power_w", "flow_m3h", "head_m"):
            values[name] *= noise.gauss(1.0, 0.005)
        samples.append(
            Sample(
                time_utc_ms=START_MS + round(place * every_s * 1000), words=image_words(drive, values)
            )
        )  # fmt: skip
    return samples


def register_map(drive: DriveMap) -> str:
    """Return the register map as a tech types it right, one quantity a line."""
    byte_order = "little" if drive.order in ("BADC", "DCBA") else "big"
    word_order = "little" if drive.order in ("CDAB", "DCBA") else "big"
    lines = [
        "[map]", f'name = "{drive.name}"', f'addresses = "{"one" if drive.one_based else "zero"}-based"',
        f'byte_order = "{byte_order}"', f'word_order = "{word_order}"', "[quantity]",
    ]  # fmt: skip
    return "\n".join([*lines, *(_line(register, int(drive.one_based)) for register in drive.registers)])


def _line(register: Register, first: int) -> str:
    unit = f', unit = "{register.unit}"' if register.unit else ""
    return (
        f'{register.quantity} = {{ table = "{register.table}", address = {register.address + first}, '
        f'type = "{register.type}", scale = {register.scale:g}{unit} }}'
    )


def line_of(text: str, name: str) -> int:
    return next(number for number, line in enumerate(text.splitlines(), 1) if line.startswith(name))


def with_key(text: str, name: str, key: str, value: str) -> str:
    """Return the map with one key of one line typed wrong."""
    lines = text.splitlines()
    place = line_of(text, name) - 1
    pattern = rf'{key} = ("[^"]*"|[^,"}} ]+)'
    if re.search(pattern, lines[place]):
        lines[place] = re.sub(pattern, f"{key} = {value}", lines[place])
    else:
        lines[place] = lines[place].replace(" }", f", {key} = {value} }}")
    return "\n".join(lines)


def proofs_of(folder: Path, text: str, samples: Sequence[Sample], known: Stated) -> dict[str, Proof]:
    """Return the proofs by quantity; one that speaks of several stands under each."""
    path = folder / "map.toml"
    path.write_text(text, encoding="utf-8")
    proofs = prove(read_typed_map(path), samples, known, "SI")
    return {name: proof for proof in proofs for name in proof.value.split(", ")}


def accused(proofs: Mapping[str, Proof]) -> set[str]:
    return {name for name, proof in proofs.items() if proof.verdict is Verdict.CHANGE}
