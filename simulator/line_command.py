"""The arguments of ``simulate line``."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING, Final

from simulator.numbers_typed import positive, share

if TYPE_CHECKING:
    from simulator.line_process import LineOptions

_WHAT: Final = (
    "Runs one serial line on a pseudo-terminal, with live pumps, and prints JSON lines: the port, then what "
    "each drive's panel shows. Ends at Ctrl-C, SIGTERM, or when standard input closes. A pseudo-terminal "
    "carries speed and stop bits, but no parity: a port with the wrong parity hears well here."
)
_EXAMPLE: Final = "example: owncurve simulate line --baud 9600 --units 1:A 5:C 7:random --master 1"
_BAUDS: Final = (1200, 2400, 4800, 9600, 14400, 19200, 38400, 57600, 115200)


def add_line(
    what: argparse._SubParsersAction[argparse.ArgumentParser],
) -> None:
    """Add ``line`` with its arguments."""
    line = what.add_parser(
        "line", help="run one serial line that may misbehave", description=_WHAT, epilog=_EXAMPLE
    )
    line.add_argument("--baud", type=int, choices=_BAUDS, default=19200, help="default 19200")
    line.add_argument("--parity", choices=("E", "O", "N"), default="E", help="default E")
    line.add_argument("--stop-bits", type=int, choices=(1, 2), default=1, help="default 1")
    line.add_argument(
        "--units", type=_unit, nargs="+", metavar="UNIT:MAP",
        help="drives by unit number and register table: A to E, or random (default 1:A)",
    )  # fmt: skip
    line.add_argument(
        "--random-map", type=int, metavar="SEED",
        help="the seed of the first random table; alone it means --units 1:random",
    )  # fmt: skip
    line.add_argument("--seed", type=int, default=1, help="another seed gives other noise")
    line.add_argument("--panel-every", type=positive, default=5.0, help="seconds between panels (default 5)")
    line.add_argument(
        "--speeds", type=_percents, default=(), help="as 90,70,100: the pumps' speeds in percent, in turn"
    )
    line.add_argument("--each-speed-s", type=positive, default=60.0, help="how long each of them is held")
    line.add_argument("--speed-up", type=positive, default=1.0, help="how much faster the pumps' time runs")
    _add_misbehaviour(line)


def _add_misbehaviour(line: argparse.ArgumentParser) -> None:
    line.add_argument("--master", type=positive, metavar="EVERY_S", help="another master polls all drives")
    line.add_argument("--same-address", action="store_true", help="a second drive bears the first's number")
    line.add_argument("--turn-around-ms", type=positive, default=4.0, help="of each drive (default 4)")
    line.add_argument("--lump-ms", type=positive, help="the adapter hands bytes over so seldom, as 16")
    line.add_argument("--echo", action="store_true", help="the port hears itself")
    line.add_argument("--swapped", action="store_true", help="the port's two wires are swapped")
    line.add_argument("--damage", type=share, default=0.0, help="share of bytes with a turned bit")
    line.add_argument("--noise", type=positive, metavar="PER_S", help="bursts of stray bytes a second")
    line.add_argument("--late", type=share, default=0.0, help="share of answers that come 0.8 s late")
    line.add_argument("--silent", type=share, default=0.0, help="share of requests that get no answer")


def _unit(text: str) -> tuple[int, str]:
    number, _, name = text.partition(":")
    name = name or "A"
    if not (number.isdecimal() and 1 <= int(number) <= 247 and name in (*"ABCDE", "random")):
        raise argparse.ArgumentTypeError(
            f"expected UNIT:MAP with a unit from 1 to 247 and a map A to E or random, as 5:C, got {text}"
        )
    return int(number), name


def _percents(text: str) -> tuple[float, ...]:
    try:
        percents = tuple(float(word) for word in text.split(","))
    except ValueError:
        percents = ()
    if not percents or not all(10 <= percent <= 110 for percent in percents):
        raise argparse.ArgumentTypeError(
            f"expected speeds from 10 to 110 in percent, as 90,70,100, got {text}"
        )
    return percents


def run(arguments: argparse.Namespace) -> int:
    """Run the line as asked; units that occur twice give 2 and one line."""
    from simulator.line_process import run_line

    options = _options(arguments)
    numbers = [unit_id for unit_id, _ in options.units]
    if len(set(numbers)) < len(numbers):
        print("owncurve simulate line: a unit occurs twice; --same-address makes a twin", file=sys.stderr)
        return 2
    return run_line(options)


def _options(arguments: argparse.Namespace) -> LineOptions:
    from simulator.line_process import LineOptions
    from simulator.lines import BadWire, Disturbance, LineSetting, PortWiring

    has_random = arguments.random_map is not None
    return LineOptions(
        setting=LineSetting(arguments.baud, arguments.parity, arguments.stop_bits),
        units=arguments.units or [(1, "random" if has_random else "A")],
        seed=arguments.seed,
        first_map_seed=arguments.random_map if has_random else arguments.seed,
        master_every_s=arguments.master,
        same_address=arguments.same_address,
        lump_s=(arguments.lump_ms or 0.0) / 1000,
        panel_every_s=arguments.panel_every,
        turn_around_s=arguments.turn_around_ms / 1000,
        speed_up=arguments.speed_up,
        speeds_pct=arguments.speeds,
        each_speed_s=arguments.each_speed_s,
        disturbance=Disturbance(late=arguments.late, late_s=0.8, silence=arguments.silent),
        wire=BadWire(damaged_bytes=arguments.damage, noise_per_s=arguments.noise or 0.0),
        port=PortWiring(echo=arguments.echo, is_swapped=arguments.swapped),
    )
