"""Every code that a fast finding carries is listed, so that the pages can word each."""

from __future__ import annotations

import ast
from pathlib import Path

import api.analytics.states as states
from api.analytics.codes import CAUSES, CHECKS, EVIDENCE
from api.analytics.finding import Kind
from tests.api.analytics.states.test_on_trial import with_fault
from tests.api.analytics.states.trials import KIND_OF

ROOM = Path(states.__file__).parent


def strings_passed_to(*callees: str) -> set[str]:
    found = set()
    for path in ROOM.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in callees:
                found |= {part.value for part in node.args if isinstance(part, ast.Constant)}
    return found


def test_causes_in_the_source_are_listed() -> None:
    named = {word for word in strings_passed_to("alone") if isinstance(word, str)}
    assert named
    assert named <= CAUSES


def test_what_real_findings_carry_is_listed() -> None:
    found = [one for kind in KIND_OF for one in with_fault(kind).episodes()]
    assert {one.kind for one in found} >= set(KIND_OF.values()) - {Kind.NO_REPLY}
    for one in found:
        assert {name for cause in one.causes for name in cause.names} <= CAUSES
        assert set(one.checks) <= CHECKS
        assert {item.name for item in one.evidence} <= EVIDENCE
