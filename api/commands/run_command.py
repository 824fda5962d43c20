"""``owncurve run``: poll, analyse and serve as one process tree."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import Final

from api.commands import FAILED, OK
from api.commands.poll_command import add_only_master_argument, claimed
from api.commands.process_tree import ProcessTree
from api.commands.serve_command import DEFAULT_PORT
from api.commands.site_source import add_site_argument, opened_source

SUMMARY = "poll the drives, analyse what arrives and serve the pages, until Ctrl-C"
EXAMPLE = "owncurve run --site site.toml"

ANALYSE_EVERY_S: Final = 10


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of ``run``."""
    add_site_argument(parser, clock=True)
    add_only_master_argument(parser)
    parser.add_argument(
        "--port", type=int, default=DEFAULT_PORT, help="port of the pages; 0 picks a free one"
    )


def run(arguments: argparse.Namespace) -> int:
    """Start the three parts and end all of them when one ends or Ctrl-C comes."""
    from api.commands.serve_command import listening_socket

    # Whatever is wrong is said once here, not three times by the parts.
    listening_socket(arguments.port).close()
    with opened_source(arguments) as source, claimed(source.site, source.store.database.path):
        database = source.store.database.path
    tree = ProcessTree()
    try:
        start_parts(
            tree, arguments.site, arguments.port, arguments.clock,
            is_only_master=arguments.i_am_the_only_master,
        )  # fmt: skip
        return watch(tree)
    finally:
        tree.stop()
        print(f"owncurve: everything has ended; the data is in {database}", file=sys.stderr)


def start_parts(tree: ProcessTree, site: Path, port: int, clock: str | None, *, is_only_master: bool) -> None:
    """Start poll, analyse and serve for this site in the tree."""
    clock_words = ["--clock", clock] if clock else []
    common = ["--site", str(site), *clock_words]
    claim = ["--i-am-the-only-master"] if is_only_master else []
    tree.start("poll", "api", ["poll", *common, *claim])
    tree.start("analyse", "api", ["analyse", *common, "--follow", str(ANALYSE_EVERY_S)])
    tree.start("serve", "api", ["serve", *common, "--port", str(port)])


def watch(tree: ProcessTree) -> int:
    """Wait for Ctrl-C (a good end) or for a part that ends by itself (a failure, said by name)."""
    try:
        name = tree.wait_for_any_end()
    except KeyboardInterrupt:
        return OK
    code = tree.exit_code(name)
    print(f"owncurve: {name} ended by itself (exit code {code}); the rest is being stopped", file=sys.stderr)
    return code or FAILED
