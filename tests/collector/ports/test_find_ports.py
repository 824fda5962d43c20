"""What is told of the adapters of a machine.

The machines are folders with real files and links as Linux lays them out; one test looks at a pseudo-terminal
that another process really holds.
"""

from __future__ import annotations

import os
import pty
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from collector.ports import Holder, Holders, describe_port, find_ports, why_no_port
from collector.ports.holders import holders_of
from tests.collector.ports.machines import ListedPort, Machine

linux_only = pytest.mark.skipif(sys.platform != "linux", reason="only Linux shows this")


@pytest.fixture
def machine(tmp_path: Path) -> Machine:
    return Machine(tmp_path)


@pytest.fixture
def terminal() -> Iterator[str]:
    far, near = pty.openpty()
    yield os.ttyname(near)
    os.close(near)
    os.close(far)


def test_a_machine_without_adapters_has_none(machine: Machine) -> None:
    assert find_ports(machine.roots, lambda: machine.listed) == ()


def test_ports_come_by_their_paths(machine: Machine) -> None:
    for name in ("ttyUSB1", "ttyACM0", "ttyUSB0"):
        machine.plug_in(name)
    found = find_ports(machine.roots, lambda: machine.listed)
    assert [Path(adapter.path).name for adapter in found] == ["ttyACM0", "ttyUSB0", "ttyUSB1"]


def test_a_port_is_told_with_the_identity_of_its_adapter(machine: Machine) -> None:
    machine.plug_in("ttyUSB0")
    (found,) = find_ports(machine.roots, lambda: machine.listed)
    assert (found.words, found.maker_words, found.serial_number) == ("two-wire adapter", "Workshop", "A1")
    assert (found.usb_vendor_id, found.usb_product_id) == (0xFFF0, 1)


def test_the_stable_path_is_the_name_that_leads_to_the_device(machine: Machine) -> None:
    machine.plug_in("ttyUSB0", by_id="usb-another")
    device = machine.plug_in("ttyUSB1", by_id="usb-ours")
    found = find_ports(machine.roots, lambda: machine.listed)
    assert found[1].path == device
    assert found[1].best_path == str(machine.roots.dev / "serial/by-id/usb-ours")


def test_without_a_stable_path_the_plain_one_is_the_best(machine: Machine) -> None:
    device = machine.plug_in("ttyS0")
    (found,) = find_ports(machine.roots, lambda: machine.listed)
    assert (found.stable_path, found.best_path) == (None, device)


@pytest.mark.parametrize(("held", "timer_ms"), [("16\n", 16), ("1\n", 1), (None, None), ("soon", None)])
def test_the_latency_timer_is_read_where_there_is_one(
    machine: Machine, held: str | None, timer_ms: int | None
) -> None:
    machine.plug_in("ttyUSB0", latency=held)
    (found,) = find_ports(machine.roots, lambda: machine.listed)
    assert found.latency_timer_ms == timer_ms


@linux_only
def test_the_timer_is_found_through_the_stable_path_too(machine: Machine) -> None:
    machine.plug_in("ttyUSB0", by_id="usb-ours", latency="16")
    found = describe_port(
        str(machine.roots.dev / "serial/by-id/usb-ours"), machine.roots, lambda: machine.listed
    )
    assert found is not None
    assert found.latency_timer_ms == 16


def test_a_port_that_nobody_lists_is_told_all_the_same(machine: Machine) -> None:
    (machine.roots.dev / "odd").touch()
    found = describe_port(str(machine.roots.dev / "odd"), machine.roots, lambda: [])
    assert found is not None
    assert (found.words, found.usb_vendor_id) == ("", None)


def test_no_port_is_none(machine: Machine) -> None:
    assert describe_port(str(machine.roots.dev / "ttyUSB9"), machine.roots, lambda: machine.listed) is None


def test_what_the_library_does_not_know_is_not_shown_as_words(machine: Machine) -> None:
    machine.listed = [ListedPort(str(machine.roots.dev / "ttyS0"), description="n/a", manufacturer=None)]
    assert find_ports(machine.roots, lambda: machine.listed)[0].words == ""


@linux_only
def test_who_holds_a_port_is_told_by_name_and_number(machine: Machine) -> None:
    device = machine.plug_in("ttyUSB0", by_id="usb-ours")
    machine.process(40, "logger", "/dev/null", device)
    machine.process(7, "shell", "/dev/null")
    (found,) = find_ports(machine.roots, lambda: machine.listed)
    assert found.holders == Holders(seen=(Holder(pid=40, name="logger"),))


def test_a_holder_is_found_by_the_stable_path_too(machine: Machine) -> None:
    device = machine.plug_in("ttyUSB0", by_id="usb-ours")
    machine.process(40, "logger", device)
    holders = holders_of(machine.roots.dev / "serial/by-id/usb-ours", machine.roots.proc)
    assert [holder.pid for holder in holders.seen] == [40]


def test_a_process_whose_files_are_not_shown_is_counted(
    machine: Machine, monkeypatch: pytest.MonkeyPatch
) -> None:
    device = machine.plug_in("ttyUSB0")
    hidden = machine.process(41, "theirs", device) / "fd"
    listing = Path.iterdir

    def as_the_system_does(path: Path) -> Iterator[Path]:
        # Root is shown everything, and tests may run as root.
        if path == hidden:
            raise PermissionError
        return listing(path)

    monkeypatch.setattr(Path, "iterdir", as_the_system_does)
    assert holders_of(Path(device), machine.roots.proc) == Holders(hidden_processes=1)


def test_a_process_that_ends_while_we_look_is_nobody(machine: Machine) -> None:
    device = machine.plug_in("ttyUSB0")
    (machine.roots.proc / "42").mkdir()
    assert holders_of(Path(device), machine.roots.proc) == Holders()


@linux_only
def test_a_real_process_that_holds_a_real_terminal_is_named(terminal: str) -> None:
    script = (
        "import os, sys; os.open(sys.argv[1], os.O_RDWR | os.O_NOCTTY); print('open', flush=True); input()"
    )
    words = [sys.executable, "-c", script, terminal]
    with subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "open\n"
        seen = holders_of(Path(terminal)).seen
        holder.communicate("\n")
    assert [each.pid for each in seen] == [holder.pid]
    assert seen[0].name.startswith("python")


@linux_only
def test_our_own_process_is_no_holder(terminal: str) -> None:
    assert holders_of(Path(terminal)).seen == ()


@pytest.mark.skipif(sys.platform == "win32", reason="there a port is no file")
def test_what_is_no_port_is_told_without_opening_it(tmp_path: Path, terminal: str) -> None:
    file = tmp_path / "site.toml"
    file.touch()
    assert why_no_port(str(file)).startswith(f"{file} is a file, not a serial port")
    assert why_no_port(str(tmp_path)).startswith(f"{tmp_path} is a folder, not a serial port")
    assert why_no_port(terminal) == ""


@linux_only
def test_a_device_that_is_no_line_is_no_port() -> None:
    assert why_no_port("/dev/null").startswith("/dev/null is a device of another kind")


def test_a_port_that_is_not_there_may_be_one() -> None:
    assert why_no_port("/dev/no-such-adapter") == ""
