"""A reader that has seen enough, as ``head`` does, ends a command quietly."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[3]
SITE = '[site]\nname = "Harbour baths"\ntime_zone = "Europe/Lisbon"\n[[pump]]\nname = "P01"\n'

NOTHING_YET = "owncurve: no week to show yet: there are no readings\n"
"""What ``energy`` has to say of a site without readings; no complaint about the pipe."""


def unread(folder: Path, *words: str, unbuffered: str = "") -> tuple[int, str]:
    """Run a command whose output has no reader from the start; return its exit code and complaints."""
    reader, writer = os.pipe()
    os.close(reader)
    try:
        done = subprocess.run(
            [sys.executable, "-m", "api", *words],
            cwd=folder, env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONUNBUFFERED": unbuffered},
            stdout=writer, stderr=subprocess.PIPE, text=True, check=False, timeout=60,
        )  # fmt: skip
    finally:
        os.close(writer)
    return done.returncode, done.stderr


@pytest.mark.parametrize(
    "words", [("energy",), ("energy", "--json"), ("findings", "--json"), ("simulate", "maps"), ("--help",)]
)
def test_output_that_nobody_reads_is_a_quiet_end(tmp_path: Path, words: tuple[str, ...]) -> None:
    (tmp_path / "site.toml").write_text(SITE, encoding="utf-8")
    code, complaint = unread(tmp_path, *words)
    assert (code, complaint.removeprefix(NOTHING_YET)) == (0, "")


def test_it_is_quiet_too_where_each_line_goes_out_by_itself(tmp_path: Path) -> None:
    (tmp_path / "site.toml").write_text(SITE, encoding="utf-8")
    code, complaint = unread(tmp_path, "energy", unbuffered="1")
    assert (code, complaint.removeprefix(NOTHING_YET)) == (0, "")


def test_what_is_wrong_is_still_said_to_a_broken_pipe(tmp_path: Path) -> None:
    code, complaint = unread(tmp_path, "energy", "--site", "nowhere.toml")
    assert (code, complaint.count("\n"), "nowhere.toml" in complaint) == (2, 1, True)


@pytest.mark.skipif(sys.platform == "win32", reason="Windows does not tell which pipe broke")
def test_a_pipe_that_broke_elsewhere_is_not_hidden() -> None:
    script = """
from api import commands
def broken(words):
    raise BrokenPipeError("to a child process")
commands._run = broken
commands.main([])
"""
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert (done.returncode, "to a child process" in done.stderr) == (1, True)
