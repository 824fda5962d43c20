"""``owncurve simulate``: the simulated site, a line or the drives' manuals, as a process of its own."""

from __future__ import annotations

import argparse

from api.commands import FAILED, OK, Refusal
from api.commands.process_tree import ProcessTree

SUMMARY = "run the simulated swimming hall, or one serial line that misbehaves, or print the drives' manuals"
EXAMPLE = "owncurve simulate hall --folder hall --weeks 1"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of ``simulate``."""
    parser.add_argument(
        "what",
        choices=("hall", "line", "maps"),
        nargs="?",
        help="the site, one line with a port to try things on, or the register tables of the drives",
    )
    parser.add_argument(
        "words", nargs=argparse.REMAINDER, help='passed on; "owncurve simulate hall --help" lists them'
    )


def run(arguments: argparse.Namespace) -> int:
    """Run the simulator as a child until it ends or Ctrl-C."""
    if arguments.what is None:
        raise Refusal(
            'say what to simulate: "owncurve simulate hall --folder hall --weeks 1" runs the invented site, '
            '"owncurve simulate line" one serial line, "owncurve simulate maps" prints the drives\' manuals'
        )
    tree = ProcessTree()
    try:
        tree.start("simulator", "simulator", [arguments.what, *arguments.words])
        code = tree.exit_code(tree.wait_for_any_end())
    except KeyboardInterrupt:
        return OK
    finally:
        tree.stop()
    return FAILED if code is None else code
