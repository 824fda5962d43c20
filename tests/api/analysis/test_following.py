"""Analysis in processes of its own: it follows what arrives, ends when asked, and leaves nothing behind."""

from __future__ import annotations

import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from api.analytics.finding import Kind
from api.answers.source import open_source
from api.store.stored_finding import State

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="signals and /proc as on Unix")

RUN = (
    "import argparse\n"
    "from api.commands import analyse_command\n"
    "parser = argparse.ArgumentParser()\n"
    "analyse_command.add_arguments(parser)\n"
    "if __name__ == '__main__':\n"
    "    raise SystemExit(analyse_command.run(parser.parse_args()))\n"
)
LONGEST_WAIT_S = 60.0
SmallSite = Any


def until(condition: Callable[[], bool]) -> bool:
    """Wait for a condition, and no longer than a minute."""
    end = time.monotonic() + LONGEST_WAIT_S
    while time.monotonic() < end:
        if condition():
            return True
        time.sleep(0.05)
    return False


@pytest.fixture
def script(tmp_path: Path) -> Path:
    path = tmp_path / "analyse.py"
    path.write_text(RUN, encoding="utf-8")
    return path


@pytest.fixture
def follower(script: Path, analysed_folder: Path, tmp_path: Path) -> Iterator[subprocess.Popen[bytes]]:
    shutil.copytree(analysed_folder, tmp_path / "site")
    process = subprocess.Popen(
        [sys.executable, script, "--site", tmp_path / "site" / "site.toml", "--follow", "0.2"]
    )
    yield process
    process.kill()
    process.wait()


def test_a_fault_that_arrives_is_found_and_the_follower_ends_when_asked(
    follower: subprocess.Popen[bytes], tmp_path: Path, small_site: SmallSite
) -> None:
    source = open_source(tmp_path / "site" / "site.toml")
    (reading,) = small_site.readings("Lap pool 1", 40 * 288, 1, seed=1)
    source.store.append([replace(reading, fault_code=7, speed_rpm=0.0)])

    def found() -> bool:
        active = source.api_store.findings("Lap pool 1", [State.ACTIVE])
        return any(item.finding.kind is Kind.DRIVE_FAULT for item in active)

    was_found = until(found)
    source.close()
    follower.send_signal(signal.SIGTERM)
    assert was_found
    assert follower.wait(timeout=5) == 0


def children(process: int) -> list[int]:
    """Return the living children of a process."""
    path = Path(f"/proc/{process}/task/{process}/children")
    return [int(word) for word in path.read_text(encoding="utf-8").split()] if path.exists() else []


def is_alive(process: int) -> bool:
    path = Path(f"/proc/{process}/stat")
    try:
        return path.read_text(encoding="utf-8").rsplit(")", 1)[1].split()[0] not in ("Z", "X")
    except (FileNotFoundError, ProcessLookupError):
        return False


@pytest.mark.skipif(not Path("/proc/self/task").exists(), reason="children are listed in /proc")
def test_a_first_analysis_that_is_killed_leaves_no_process_behind(
    script: Path, tmp_path: Path, small_site: SmallSite, new_site: Callable[[str], Any]
) -> None:
    source = new_site("killed")
    small_site.fill(source.store, 0, 40 * 288)
    source.close()
    process = subprocess.Popen([sys.executable, script, "--site", tmp_path / "killed" / "site.toml"])
    try:
        assert until(lambda: len(children(process.pid)) >= 2)
        left = children(process.pid)
    finally:
        process.kill()
        process.wait()
    assert until(lambda: not any(is_alive(child) for child in left))
