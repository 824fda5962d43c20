"""``owncurve simulate``: the simulated site or its drives' manuals, as a process of its own."""

from __future__ import annotations

import argparse

from api.commands import FAILED, OK, Refusal
from api.commands.process_tree import ProcessTree

SUMMARY = "run the simulated swimming hall on real sockets and a serial line, or print its drives' manuals"
EXAMPLE = "owncurve simulate hall --folder hall --weeks 1"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of ``simulate``."""
    parser.add_argument(
        "what",
        choices=("hall", "maps"),
        nargs="?",
        help="the site, or the register tables of its drives",
    )
    parser.add_argument(
        "words", nargs=argparse.REMAINDER, help='passed on; "owncurve simulate hall --help" lists them'
    )


def run(arguments: argparse.Namespace) -> int:
    """Run the simulator as a child until it ends or Ctrl-C."""
    if arguments.what is None:
        raise Refusal(
            'say what to simulate: "owncurve simulate hall --folder hall --weeks 1" runs the invented site, '
            '"owncurve simulate maps" prints its drives\' manuals'
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
