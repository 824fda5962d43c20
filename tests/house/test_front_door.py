"""The README's commands are the ones that are run."""

from __future__ import annotations

from pathlib import Path

import pytest

from collector.site.models import Bus, Pump, SiteTable
from dashboards.wording.terms import SERVICES

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


@pytest.mark.parametrize("table", [SiteTable, Bus, Pump])
def test_every_key_of_a_site_file_stands_in_the_readme(table: type[SiteTable | Bus | Pump]) -> None:
    assert [key for key in table.model_fields if f"`{key}`" not in README and f"{key} = " not in README] == []


def test_every_word_for_work_stands_in_the_readme() -> None:
    assert [word for word in SERVICES if f"`{word}`" not in README] == []
