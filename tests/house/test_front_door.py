"""The README's commands are the ones that are run."""

from __future__ import annotations

from pathlib import Path

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
TEST_LINE = 'python3 -m venv .venv && .venv/bin/pip install -q -e ".[dev]" && .venv/bin/pytest'
DEMO_LINE = "python3 -m venv .venv && .venv/bin/pip install -q -e . && .venv/bin/owncurve demo"


def test_the_test_line_stands_in_the_readme() -> None:
    assert TEST_LINE in README.splitlines()


def test_the_demo_line_stands_in_the_readme() -> None:
    assert DEMO_LINE in README.splitlines()


def test_continuous_integration_calls_exactly_the_test_line() -> None:
    assert TEST_LINE in (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()
