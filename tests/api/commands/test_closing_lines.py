"""What is ended in good order exits with 0 and says where the data is."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[3]
SITE = '[site]\nname = "Harbour baths"\ntime_zone = "Europe/Lisbon"\n[[pump]]\nname = "P01"\n'
pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="signals are POSIX here")


@pytest.mark.parametrize("command", ["serve", "run"])
def test_ctrl_c_is_a_good_end_that_says_where_the_data_is(tmp_path: Path, command: str) -> None:
    (tmp_path / "site.toml").write_text(SITE, encoding="utf-8")
    started = subprocess.Popen(
        [sys.executable, "-m", "api", command, "--port", "0"],
        cwd=tmp_path, env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert started.stdout is not None
    assert "http://127.0.0.1:" in started.stdout.readline()
    started.send_signal(signal.SIGINT)
    _, said = started.communicate(timeout=60)
    assert started.returncode == 0, said
    assert said.count(f"the data is in {tmp_path / 'site.sqlite'}") == 1


def test_a_demonstration_told_to_end_ends_as_by_ctrl_c(tmp_path: Path) -> None:
    started = subprocess.Popen(
        [sys.executable, "-m", "api", "demo", "--port", "0", "--data", str(tmp_path / "demo")],
        cwd=tmp_path, env={**os.environ, "PYTHONPATH": str(ROOT)}, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert started.stderr is not None
    started.stderr.readline()
    started.send_signal(signal.SIGTERM)
    _, said = started.communicate(timeout=60)
    assert (started.returncode, "everything has ended; the data is in" in said) == (0, True)
