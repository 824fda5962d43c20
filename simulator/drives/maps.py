"""Five register tables of our own invention. They differ in all that real tables differ in."""

from __future__ import annotations

from typing import Final

from simulator.drives.registers import DriveMap, Register, Table, ValueType

_NAN: Final = 0x7FC00000


def _floats(table: Table, start: int, quantities: tuple[tuple[str, str], ...]) -> tuple[Register, ...]:
    return tuple(
        Register(
            quantity=name, address=start + 2 * place, table=table, type="f32", unit=unit, no_reading=_NAN
        )
        for place, (name, unit) in enumerate(quantities)
    )


def _thousandths(start: int, quantities: tuple[tuple[str, str], ...]) -> tuple[Register, ...]:
    return tuple(
        Register(
            quantity=name, address=start + 2 * place, table="input", type="i32", scale=0.001, unit=unit,
            no_reading=0x7FFFFFFF,
        )
        for place, (name, unit) in enumerate(quantities)
    )  # fmt: skip


def _counters(table: Table, start: int, type_: ValueType, energy_scale: float) -> tuple[Register, ...]:
    return (
        Register(
            quantity="energy_kwh", address=start, table=table, type=type_, scale=energy_scale, unit="kWh"
        ),
        Register(quantity="run_time_h", address=start + 2, table=table, type=type_, unit="h"),
        Register(quantity="starts", address=start + 4, table=table, type=type_),
    )


MAP_A: Final = DriveMap(
    name="A",
    words="big-endian 16-bit tenths, holding registers, numbered from 1",
    order="ABCD",
    one_based=True,
    identification=("Simulated drive A", "A-tenths", "1.4"),
    registers=(
        Register(quantity="status_word", address=0),
        Register(quantity="fault_code", address=1),
        Register(quantity="speed_rpm", address=10, unit="rpm", no_reading=0xFFFF),
        Register(quantity="speed_command_pct", address=11, scale=0.1, unit="%", no_reading=0xFFFF),
        Register(quantity="power_w", address=12, unit="W", no_reading=0xFFFF),
        Register(quantity="current_a", address=13, scale=0.01, unit="A", no_reading=0xFFFF),
        Register(quantity="flow_m3h", address=20, scale=0.1, unit="m3/h", no_reading=0xFFFF),
        Register(quantity="head_m", address=21, scale=0.1, unit="m", no_reading=0xFFFF),
        Register(
            quantity="fluid_temperature_c", address=22, type="i16", scale=0.1, unit="C", no_reading=0x7FFF
        ),
        Register(quantity="drive_temperature_c", address=23, type="i16", unit="C", no_reading=0x7FFF),
        *_counters("holding", 40, "u32", 0.1),
    ),
)

MAP_B: Final = DriveMap(
    name="B",
    words="floats with the low word first, input registers, numbered from 0",
    order="CDAB",
    one_based=False,
    identification=("Simulated drive B", "B-float", "3.02"),
    registers=(
        *_floats(
            "input",
            100,
            (
                ("speed_rpm", "rpm"),
                ("power_w", "W"),
                ("flow_m3h", "m3/h"),
                ("head_m", "m"),
                ("fluid_temperature_c", "C"),
                ("current_a", "A"),
                ("speed_command_pct", "%"),
            ),
        ),
        *_counters("input", 130, "u32", 1.0),
        Register(quantity="status_word", address=150, table="input", type="u16"),
        Register(quantity="fault_code", address=151, table="input", type="u16"),
    ),
)

MAP_C: Final = DriveMap(
    name="C",
    words="US units, signed 16-bit, holding registers, numbered from 1",
    order="ABCD",
    one_based=True,
    identification=("Simulated drive C", "C-customary", "0.9"),
    registers=(
        Register(quantity="speed_rpm", address=200, type="i16", unit="rpm", no_reading=0x7FFF),
        Register(quantity="power_w", address=201, type="i16", scale=0.001, unit="kW", no_reading=0x7FFF),
        Register(quantity="flow_m3h", address=203, type="i16", scale=0.1, unit="gpm", no_reading=0x7FFF),
        Register(quantity="head_m", address=204, type="i16", scale=0.1, unit="ft", no_reading=0x7FFF),
        Register(
            quantity="fluid_temperature_c", address=206, type="i16", scale=0.1, unit="F", no_reading=0x7FFF
        ),
        Register(
            quantity="speed_command_pct", address=207, type="i16", scale=0.1, unit="%", no_reading=0x7FFF
        ),
        Register(quantity="status_word", address=220),
        Register(quantity="fault_code", address=221),
        *_counters("holding", 230, "u32", 0.1),
    ),
)

MAP_D: Final = DriveMap(
    name="D",
    words="32-bit thousandths, all bytes reversed, input registers, numbered from 0",
    order="DCBA",
    one_based=False,
    identification=("Simulated drive D", "D-mirror", "7"),
    registers=(
        *_thousandths(
            0,
            (
                ("speed_rpm", "rpm"),
                ("power_w", "W"),
                ("flow_m3h", "L/s"),
                ("head_m", "m"),
                ("fluid_temperature_c", "C"),
                ("drive_temperature_c", "C"),
            ),
        ),
        Register(quantity="status_word", address=20, table="input", type="u32"),
        Register(quantity="fault_code", address=22, table="input", type="u32"),
        *_counters("input", 24, "u32", 0.1),
    ),
)

MAP_E: Final = DriveMap(
    name="E",
    words="floats with swapped bytes, holding registers, numbered from 1",
    order="BADC",
    one_based=True,
    identification=("Simulated drive E", "E-swap", "2.2"),
    registers=(
        *_floats(
            "holding",
            1000,
            (("speed_rpm", "rpm"), ("power_w", "kW"), ("flow_m3h", "m3/h"), ("head_m", "m")),
        ),
        *_floats("holding", 1016, (("fluid_temperature_c", "C"), ("speed_command_pct", "%"))),
        Register(quantity="status_word", address=1030, type="u16"),
        Register(quantity="fault_code", address=1031, type="u16"),
        *_counters("holding", 1040, "u32", 0.1),
    ),
)

MAPS: Final = {drive_map.name: drive_map for drive_map in (MAP_A, MAP_B, MAP_C, MAP_D, MAP_E)}


def manuals() -> str:
    """Return the register tables of all maps."""
    return "\n\n".join(manual(drive_map) for drive_map in MAPS.values())


_ORDER_WORDS: Final = {
    "ABCD": "high word first, high byte first",
    "CDAB": "low word first, high byte first",
    "BADC": "high word first, low byte first",
    "DCBA": "low word first, low byte first",
}


def manual(drive_map: DriveMap) -> str:
    """Return the register table as the drive's paper manual would print it."""
    start = 1 if drive_map.one_based else 0
    lines = [
        f"Map {drive_map.name}: {drive_map.words}",
        f"Byte and word order: {_ORDER_WORDS[drive_map.order]}. Registers are numbered from {start}.",
        f"{'register':>8}  {'table':8} {'type':5} {'unit of 1':>10}  {'no reading':>10}  quantity",
    ]
    lines += [_line(register, start) for register in drive_map.registers]
    return "\n".join(lines)


def _line(register: Register, start: int) -> str:
    step = f"{register.scale:g} {register.unit}".strip()
    none = "" if register.no_reading is None else f"0x{register.no_reading:0{4 * register.words}X}"
    place = f"{register.address + start:>8}  {register.table:8} {register.type:5}"
    return f"{place} {step:>10}  {none:>10}  {register.quantity}"
