"""``owncurve simulate`` runs the simulator as a process of its own and hands its words through."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[3]


def simulate(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "api", "simulate", *words],
        cwd=ROOT, env={**os.environ, "PYTHONPATH": str(ROOT)}, capture_output=True, text=True, check=False,
    )  # fmt: skip


def direct(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "simulator", *words], cwd=ROOT, capture_output=True, text=True, check=False
    )


def test_the_manuals_are_the_simulators_own() -> None:
    said = simulate("maps")
    assert (said.returncode, len(said.stdout.splitlines()) > 20) == (0, True)
    assert said.stdout == direct("maps").stdout


def test_its_words_are_handed_through() -> None:
    assert simulate("hall", "--help").stdout == direct("hall", "--help").stdout


def test_a_wrong_word_gives_the_simulators_own_exit_code() -> None:
    said = simulate("hall", "--no-such-word")
    assert (said.returncode, "--no-such-word" in said.stderr) == (
        direct("hall", "--no-such-word").returncode,
        True,
    )
    assert said.returncode != 0


def test_its_usage_is_that_of_the_command_a_person_typed() -> None:
    assert simulate("hall", "--help").stdout.startswith("usage: owncurve simulate hall")


def test_alone_it_explains_itself_in_one_line() -> None:
    said = simulate()
    assert (said.returncode, said.stderr.count("\n"), "owncurve simulate hall" in said.stderr) == (2, 1, True)


def test_a_word_for_a_number_is_refused_in_plain_words() -> None:
    assert "expected a number above 0, got soon" in simulate("hall", "--weeks", "soon").stderr
