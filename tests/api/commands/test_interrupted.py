"""Ctrl-C at any moment is one line and 130, never a traceback, and loses nothing."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from api.answers.source import Source, open_source

ROOT = Path(__file__).parents[3]
DAYS, DAY_ROWS = 40, 288
LINE = "owncurve: stopped; nothing is half done, and the same command does the rest"
pytestmark = pytest.mark.skipif(
    not Path("/proc/self/maps").exists(), reason="needs to see how far a process has come"
)


def begun(folder: Path, *words: str) -> subprocess.Popen[str]:
    """Start a command in a process group of its own, as a shell does."""
    return subprocess.Popen(
        [sys.executable, "-m", "api", *words],
        cwd=folder, env={**os.environ, "PYTHONPATH": str(ROOT)}, start_new_session=True,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip


def interrupted(command: subprocess.Popen[str]) -> tuple[int, list[str]]:
    """Send Ctrl-C to the whole group, as a terminal does; return the exit code and what was said."""
    os.killpg(command.pid, signal.SIGINT)
    _, said = command.communicate(timeout=60)
    return command.returncode, said.strip().splitlines()


def has_imported(command: subprocess.Popen[str], module: str) -> bool:
    maps = Path(f"/proc/{command.pid}/maps").read_text(encoding="utf-8")
    return module in maps


@pytest.mark.parametrize("command", ["findings", "energy", "analyse"])
def test_while_the_command_still_loads_its_libraries(filled: Source, command: str, tmp_path: Path) -> None:
    code, said = 0, ["Exception ignored"]
    tries = 0
    # The language itself drops a Ctrl-C that falls into a callback of its import system, and says so.
    while code == 0 and said and said[0].startswith("Exception ignored") and tries < 5:
        tries += 1
        started = begun(filled.site.path.parent, command)
        while not has_imported(started, "_multiarray_umath"):
            assert started.poll() is None
        code, said = interrupted(started)
    assert (code, said) == (130, [LINE])


def test_while_pumps_are_looked_at_side_by_side(filled: Source) -> None:
    """Two of three pumps are with worker processes, each of which gets the signal too."""
    started = begun(filled.site.path.parent, "analyse")
    deadline = time.monotonic() + 60
    while len(children(started.pid)) < 2:
        assert started.poll() is None
        assert time.monotonic() < deadline
    assert interrupted(started) == (130, [LINE])
    assert not children(started.pid)
    # The same command does the rest.
    done = subprocess.run(
        [sys.executable, "-m", "api", "analyse"],
        cwd=filled.site.path.parent, env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True, text=True, check=False, timeout=120,
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, "")
    source = open_source(filled.site.path)
    assert len(source.api_store.hours("Lap pool 1")) == DAYS * 24
    source.close()


def children(parent: int) -> list[int]:
    """Return the processes that this one started, but for the resource tracker of its language."""
    listed = Path(f"/proc/{parent}/task/{parent}/children")
    if not listed.exists():
        return []
    found = [int(word) for word in listed.read_text(encoding="utf-8").split()]
    return [each for each in found if b"spawn_main" in Path(f"/proc/{each}/cmdline").read_bytes()]


@pytest.fixture
def filled(new_site: Callable[[str], Source], small_site: Any) -> Source:  # noqa: ANN401 - a maker of readings
    source = new_site("interrupted")
    small_site.fill(source.store, 0, DAYS * DAY_ROWS)
    return source
