"""``owncurve ports``: the serial adapters of this machine."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator
from dataclasses import asdict
from typing import TYPE_CHECKING, Final

from api.commands import OK, Refusal

if TYPE_CHECKING:
    from collector.ports import Adapter

SUMMARY = (
    "list the serial adapters: their stable paths, who holds them, what keeps you out, how quick they are"
)
EXAMPLE = "owncurve ports"
NONE_FOUND: Final = (
    "No serial port was found. Plug the adapter in and look again. If it is plugged in: on Linux the last "
    'lines of "sudo dmesg" say what the system made of it; in a virtual machine it must be handed through to '
    "the guest; on Windows and macOS it may need its driver; a cable that only charges carries no data."
)
KEYED_BY_RTS: Final = (
    "Two-wire adapters should turn from listening to sending by themselves. One that must be switched by the "
    "RTS line only listens here, since RTS is kept low: look for its switch for automatic turning (common "
    "practice)."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of ``ports``."""
    parser.add_argument("port", metavar="PORT", nargs="?", help="show this port alone, listed or not")
    parser.add_argument("--json", action="store_true", help="print JSON")


def run(arguments: argparse.Namespace) -> int:
    """Show the ports."""
    from collector.ports import describe_port, find_ports, why_no_port

    if arguments.port is None:
        adapters = find_ports()
    else:
        if trouble := why_no_port(arguments.port):
            raise Refusal(trouble)
        found = describe_port(arguments.port)
        if found is None:
            raise Refusal(f"{arguments.port}: there is no such port; owncurve ports lists them")
        adapters = (found,)
    if arguments.json:
        print(json.dumps([asdict(adapter) for adapter in adapters]))
    else:
        print("\n".join(_lines(adapters)) or NONE_FOUND)
        if adapters:
            print(KEYED_BY_RTS)
    return OK


def _lines(adapters: tuple[Adapter, ...]) -> Iterator[str]:
    for adapter in adapters:
        yield adapter.best_path
        for line in _facts(adapter):
            yield f"  {line}"


def _facts(adapter: Adapter) -> Iterator[str]:
    if adapter.stable_path is not None:
        yield f"now {adapter.path}; the name above stays when adapters are plugged in another order"
    if identity := _identity(adapter):
        yield identity
    yield _held(adapter)
    if adapter.rights_trouble:
        yield adapter.rights_trouble
    yield from _quickness(adapter)


def _identity(adapter: Adapter) -> str:
    parts = [adapter.words]
    if adapter.maker_words and adapter.maker_words not in adapter.words:
        parts.append(f"made by {adapter.maker_words}")
    if adapter.usb_vendor_id is not None and adapter.usb_product_id is not None:
        parts.append(f"USB {adapter.usb_vendor_id:04x}:{adapter.usb_product_id:04x}")
    if adapter.serial_number:
        parts.append(f"serial number {adapter.serial_number}")
    return ", ".join(part for part in parts if part)


def _held(adapter: Adapter) -> str:
    holders = adapter.holders
    if holders is None:
        return "who holds it cannot be seen on this system; opening it says whether it is free"
    if holders.seen:
        names = ", ".join(f"{holder.name} (pid {holder.pid})" for holder in holders.seen)
        return f"in use by {names}; only one program may speak on a line, so stop it first"
    if holders.hidden_processes:
        count = holders.hidden_processes
        others = f"{count} other processes are" if count > 1 else "one other process is"
        return (
            f'nobody is seen to hold it; {others} not visible without rights: "sudo fuser -v {adapter.path}"'
        )
    return "free"


def _quickness(adapter: Adapter) -> Iterator[str]:
    from collector.ports.latency import latency_words

    if adapter.latency_timer_ms is not None and adapter.latency_path is not None:
        yield latency_words(adapter.latency_timer_ms, adapter.latency_path)
    elif adapter.usb_vendor_id is not None and sys.platform != "linux":
        yield "how long it keeps bytes back cannot be seen here; its driver may have a setting for it"
    elif adapter.usb_vendor_id is not None:
        yield "it shows no latency timer"
