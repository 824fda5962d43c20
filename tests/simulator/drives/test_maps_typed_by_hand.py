"""The register maps of the demo were typed from the printed manuals: they must read what the drives hold."""

from __future__ import annotations

from pathlib import Path

import pytest

from collector.registers import decode_block, load_register_map, plan_blocks
from simulator.drives import MAPS, image_of

TYPED = Path(__file__).parents[3] / "api" / "demo" / "maps"
VALUES = {
    "speed_rpm": 2903.0, "power_w": 1187.0, "flow_m3h": 32.2, "head_m": 8.4, "fluid_temperature_c": 55.3,
    "drive_temperature_c": 41.0, "current_a": 2.07, "energy_kwh": 70_000.0, "run_time_h": 12_345.0,
    "starts": 77.0, "speed_command_pct": 63.4, "status_word": 5.0, "fault_code": 21.0,
}  # fmt: skip


@pytest.mark.parametrize("name", MAPS)
def test_a_typed_map_reads_every_quantity_within_one_step(name: str) -> None:
    image = image_of(MAPS[name], VALUES)
    typed = load_register_map(TYPED / f"{name.lower()}.toml")
    read: dict[str, float] = {}
    for block in plan_blocks(typed):
        words = [image[(block.table, block.address + place)] for place in range(block.count)]
        data = b"".join(word.to_bytes(2, "big") for word in words)
        found = decode_block(block, data).values
        read |= {quantity: float(value) for quantity, value in found.items() if value is not None}
    steps = {"power_w": 1.0, "drive_temperature_c": 1.0, "energy_kwh": 1.0}
    wanted = {register.quantity for register in MAPS[name].registers}
    assert set(read) == wanted
    for quantity, value in read.items():
        assert value == pytest.approx(VALUES[quantity], abs=0.51 * steps.get(quantity, 0.1)), quantity


@pytest.mark.parametrize("name", MAPS)
def test_no_reading_is_no_value(name: str) -> None:
    image = image_of(MAPS[name], {})
    for block in plan_blocks(load_register_map(TYPED / f"{name.lower()}.toml")):
        words = [image[(block.table, block.address + place)] for place in range(block.count)]
        decoded = decode_block(block, b"".join(word.to_bytes(2, "big") for word in words))
        for quantity in ("speed_rpm", "power_w", "flow_m3h", "head_m"):
            assert decoded.values.get(quantity) is None
