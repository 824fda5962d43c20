"""``owncurve serve``: the pages and the JSON answers, on this machine only."""

from __future__ import annotations

import argparse
import os
import socket
import sys
from typing import TYPE_CHECKING, Final

from api.commands import FAILED, OK, Refusal
from api.commands.lifeline import LIFELINE_VARIABLE
from api.commands.site_source import add_site_argument, opened_source

if TYPE_CHECKING:
    from api.answers.source import Source

SUMMARY = "serve the pages and the JSON answers of a site on this machine, until Ctrl-C"
EXAMPLE = "owncurve serve --site site.toml --port 8620"

DEFAULT_PORT: Final = 8620
LOOPBACK: Final = "127.0.0.1"
STOP_WITHIN_S: Final = 2


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of ``serve``."""
    add_site_argument(parser, clock=True)
    parser.add_argument("--host", default=LOOPBACK, help=f"the address; only {LOOPBACK} for now")
    parser.add_argument("--port", type=int, default=DEFAULT_PORT, help="the port; 0 picks a free one")


def run(arguments: argparse.Namespace) -> int:
    """Serve until Ctrl-C."""
    if arguments.host != LOOPBACK:
        raise Refusal(
            f"--host {arguments.host}: pages are served on {LOOPBACK} only, as there are no accounts yet; "
            "use a tunnel you trust to look from elsewhere"
        )
    with opened_source(arguments) as source, listening_socket(arguments.port) as listener:
        try:
            print(f"{source.site.name}: http://{LOOPBACK}:{listener.getsockname()[1]}/", flush=True)
            serve(source, listener)
        except KeyboardInterrupt:
            pass  # The server hands the signal on once it has ended in good order.
        if os.environ.get(LIFELINE_VARIABLE) != "1":  # Else the command that started us says it.
            print(
                f"owncurve: serving has ended; the data is in {source.store.database.path}", file=sys.stderr
            )
    return OK


def listening_socket(port: int) -> socket.socket:
    """Return a socket that listens on this machine.

    Raises
    ------
    Refusal
        When the port is no port, or is taken.
    """
    if not 0 <= port <= 65_535:
        raise Refusal(f"--port should be between 0 and 65535, not {port}")
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        # A server that was just stopped leaves its port half closed for a minute.
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind((LOOPBACK, port))
        listener.listen(128)
    except OSError as error:
        listener.close()
        raise Refusal(
            f"port {port} cannot be used ({error.strerror}); --port 0 picks a free one", FAILED
        ) from error
    return listener


def serve(source: Source, listener: socket.socket) -> None:
    """Answer on the socket until the process is asked to stop."""
    import uvicorn

    from api.routes import create_app

    config = uvicorn.Config(
        create_app(source),
        log_level="warning",
        lifespan="off",
        server_header=False,
        timeout_graceful_shutdown=STOP_WITHIN_S,
        timeout_keep_alive=15,
    )
    uvicorn.Server(config).run(sockets=[listener])
