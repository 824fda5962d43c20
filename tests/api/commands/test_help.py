"""The command line answers at once, and each command explains itself."""

from __future__ import annotations

import subprocess
import sys

import pytest

from api.commands import COMMANDS

HEAVY = ("pandas", "numpy", "plotly", "fastapi", "sqlalchemy", "pymodbus", "pydantic", "alembic", "serial")
WHAT_HELP_LOADS = """
import sys
from api.commands import main
try:
    main(["--help"])
except SystemExit:
    pass
print([name for name in {heavy} if name in sys.modules], file=sys.stderr)
"""

WITHOUT_SITE = ("demo", "simulate", "ports", "listen", "survey", "match", "registers")


def owncurve(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "api", *words], capture_output=True, text=True, check=False, timeout=60
    )


def test_help_loads_nothing_heavy() -> None:
    script = WHAT_HELP_LOADS.format(heavy=HEAVY)
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stderr.strip() == "[]"


def test_help_names_every_command() -> None:
    done = owncurve("--help")
    # The longest name stands on a line of its own.
    named = [line.split()[0] for line in done.stdout.splitlines() if line.startswith("    ") and line.strip()]
    assert (done.returncode, [name for name in COMMANDS if name not in named]) == (0, [])


@pytest.mark.parametrize("command", COMMANDS)
def test_each_command_shows_an_example_of_itself(command: str) -> None:
    done = owncurve(command, "--help")
    assert f"example:  owncurve {command}" in done.stdout


def test_an_unknown_command_is_refused_with_those_there_are() -> None:
    done = owncurve("polll")
    assert (done.returncode, "invalid choice: 'polll'" in done.stderr, "poll" in done.stderr) == (
        2,
        True,
        True,
    )


@pytest.mark.parametrize("command", [name for name in COMMANDS if name not in WITHOUT_SITE])
def test_a_site_file_that_is_not_there_is_one_line(command: str) -> None:
    of_a_pump = ("service", "field-check", "document", "commission")
    words = ["P1", "log.csv"] if command == "import" else ["P1"] if command in of_a_pump else []
    done = owncurve(command, *words, "--site", "nowhere.toml")
    lines = done.stderr.strip().splitlines()
    assert (done.returncode, len(lines), "nowhere.toml" in lines[0]) == (2, 1, True)
