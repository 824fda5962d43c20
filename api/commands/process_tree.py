"""Several commands as one: started in order, ended together, nothing left behind."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

from api.commands.lifeline import LIFELINE_VARIABLE

GRACE_S: Final = 5.0
"""How long a child may take to finish what it is doing once its lifeline is cut."""


@dataclass(slots=True)
class ProcessTree:
    """Child processes by name. Each holds on to a pipe from us and ends when it closes."""

    children: dict[str, subprocess.Popen[str]] = field(default_factory=dict)

    def start(self, name: str, module: str, words: Sequence[str], *, read: bool = False) -> None:
        """Start ``python -m module words...``; with ``read`` its standard output comes to us."""
        self.children[name] = subprocess.Popen(
            [sys.executable, "-m", module, *words],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE if read else None,
            env={**os.environ, LIFELINE_VARIABLE: "1"},
            # Ctrl-C reaches only us, so that children end in our order and not all at once.
            start_new_session=sys.platform != "win32",
            encoding="utf-8",
        )

    def tell(self, name: str, line: str) -> None:
        """Write a line to a child's standard input."""
        pipe = self.children[name].stdin
        if pipe is not None:
            pipe.write(line + "\n")
            pipe.flush()

    def wait_for_any_end(self) -> str:
        """Wait until a child ends by itself and return its name."""
        while True:
            for name, child in self.children.items():
                if child.poll() is not None:
                    return name
            time.sleep(0.2)

    def exit_code(self, name: str) -> int | None:
        """Return the exit code of a child, ``None`` while it runs."""
        return self.children[name].poll()

    def stop(self) -> None:
        """End every child: cut all lifelines, wait, then end by force what is left."""
        for child in self.children.values():
            _close(child)
        deadline = time.monotonic() + GRACE_S
        for child in self.children.values():
            _end(child, deadline)


def _close(child: subprocess.Popen[str]) -> None:
    if child.stdin is not None:
        try:
            child.stdin.close()
        except BrokenPipeError:
            pass  # It ended before us; that is what was wanted.


def _end(child: subprocess.Popen[str], deadline: float) -> None:
    for by_force in (child.terminate, child.kill):
        try:
            child.wait(max(0.1, deadline - time.monotonic()))
            break
        except subprocess.TimeoutExpired:
            by_force()
    child.wait()
    if child.stdout is not None:
        child.stdout.close()
