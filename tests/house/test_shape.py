"""The house rules that a machine can check."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
ROOMS = ("api", "collector", "dashboards", "simulator")
TOP_LEVEL = {
    ".ci", ".gitignore", "DEVELOPERS.md", "LICENSE", "README.md", "pyproject.toml", "tests", *ROOMS,
}  # fmt: skip
LONGEST_FILE = 400
LONGEST_FUNCTION = 40


def source_files() -> list[Path]:
    return sorted(path for room in (*ROOMS, "tests") for path in (ROOT / room).rglob("*.py"))


def functions(path: Path) -> list[ast.FunctionDef | ast.AsyncFunctionDef]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)]


def run_tool(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, *words], cwd=ROOT, capture_output=True, text=True, check=False)


def test_the_house_has_files_to_check() -> None:
    assert len(source_files()) > 50


def test_no_file_is_longer_than_a_few_screens() -> None:
    long = {
        str(path.relative_to(ROOT)): lines
        for path in source_files()
        if (lines := len(path.read_text(encoding="utf-8").splitlines())) > LONGEST_FILE
    }
    assert long == {}


def test_no_function_is_longer_than_a_screen() -> None:
    long = {
        f"{path.relative_to(ROOT)}:{node.lineno} {node.name}": node.end_lineno - node.lineno + 1
        for path in source_files()
        for node in functions(path)
        if node.end_lineno is not None and node.end_lineno - node.lineno + 1 > LONGEST_FUNCTION
    }
    assert long == {}


def test_the_top_level_holds_only_the_agreed_names() -> None:
    tracked = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout.splitlines()
    assert {name.split("/")[0] for name in tracked} <= TOP_LEVEL


@pytest.mark.parametrize("name", ["utils", "helpers", "manager", "misc", "common"])
def test_no_room_is_a_cupboard_for_everything(name: str) -> None:
    assert [path for path in source_files() if name in (path.stem, path.parent.name)] == []


def opened_without_encoding(path: Path) -> list[str]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return [
        f"{path.relative_to(ROOT)}:{node.lineno}"
        for node in ast.walk(tree)
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and node.func.attr in ("read_text", "write_text")
        and not any(keyword.arg == "encoding" for keyword in node.keywords)
    ]


def test_every_file_is_opened_with_its_encoding() -> None:
    assert [place for path in source_files() for place in opened_without_encoding(path)] == []


def test_imports_run_one_way() -> None:
    done = run_tool("-c", "from importlinter.cli import lint_imports; raise SystemExit(lint_imports())")
    assert done.returncode == 0, done.stdout + done.stderr


def test_types_are_complete() -> None:
    done = run_tool("-m", "mypy")
    assert done.returncode == 0, done.stdout


def test_the_linter_has_nothing_to_say() -> None:
    done = run_tool("-m", "ruff", "check", ".")
    assert done.returncode == 0, done.stdout


def test_the_formatter_has_nothing_to_change() -> None:
    done = run_tool("-m", "ruff", "format", "--check", ".")
    assert done.returncode == 0, done.stdout
