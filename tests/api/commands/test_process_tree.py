"""Several processes as one: nothing is left behind, however it ends."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from api.commands.process_tree import ProcessTree

SLEEPER = """
import sys, time
from pathlib import Path
from api.commands.lifeline import hold_on_to_parent
hold_on_to_parent()
Path(sys.argv[1]).write_text("started", encoding="utf-8")
try:
    time.sleep(60)
except KeyboardInterrupt:
    Path(sys.argv[1]).write_text("ended well", encoding="utf-8")
"""
PARENT = """
import sys, time
from api.commands.process_tree import ProcessTree
tree = ProcessTree()
tree.start("child", "sleeper", [sys.argv[1]])
time.sleep(60)
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "sleeper.py").write_text(SLEEPER, encoding="utf-8")
    paths = [str(tmp_path), str(Path(__file__).parents[3])]
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join(paths))
    return tmp_path


def wait_for(path: Path, words: str) -> str:
    for _ in range(200):
        if path.exists() and path.read_text(encoding="utf-8") == words:
            break
        time.sleep(0.05)
    return path.read_text(encoding="utf-8") if path.exists() else "(no file)"


def test_stopping_the_tree_lets_a_child_end_well(folder: Path) -> None:
    tree = ProcessTree()
    tree.start("child", "sleeper", [str(folder / "said")])
    wait_for(folder / "said", "started")
    tree.stop()
    assert (folder / "said").read_text(encoding="utf-8") == "ended well"


def test_a_child_that_ends_by_itself_is_named(folder: Path) -> None:
    tree = ProcessTree()
    try:
        tree.start("short", "platform", [])
        assert tree.wait_for_any_end() == "short"
    finally:
        tree.stop()


def test_a_child_that_will_not_end_is_ended(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("api.commands.process_tree.GRACE_S", 0.5)
    (folder / "deaf.py").write_text("import time\ntime.sleep(60)\n", encoding="utf-8")
    tree = ProcessTree()
    tree.start("deaf", "deaf", [])
    tree.stop()
    assert tree.exit_code("deaf") is not None


@pytest.mark.skipif(sys.platform == "win32", reason="kill -9 is a POSIX signal")
def test_children_end_when_their_parent_is_killed(folder: Path) -> None:
    (folder / "parent.py").write_text(PARENT, encoding="utf-8")
    with subprocess.Popen([sys.executable, "-m", "parent", str(folder / "said")]) as parent:
        wait_for(folder / "said", "started")
        parent.send_signal(signal.SIGKILL)
    assert wait_for(folder / "said", "ended well") == "ended well"
