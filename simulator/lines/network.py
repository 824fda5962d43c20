"""Listening on 127.0.0.1: a thread for each connection, all ended by one call."""

from __future__ import annotations

import select
import socket
import threading
from typing import Final

LOOK_S: Final = 0.1
"""How long anything waits before it looks whether it is to end."""


class SocketWire:
    """A connection as a wire."""

    def __init__(self, connection: socket.socket) -> None:
        self._connection = connection

    def read(self, timeout_s: float) -> bytes | None:
        """Return what came within the time, ``b""`` for nothing, ``None`` when the other end is gone."""
        ready, _, _ = select.select([self._connection], [], [], timeout_s)
        if not ready:
            return b""
        try:
            return self._connection.recv(4096) or None
        except OSError:
            return None

    def write(self, data: bytes) -> None:
        """Send bytes; what a master that has gone does not take is lost."""
        try:
            self._connection.sendall(data)
        except OSError:
            pass


class Listener:
    """Accepts on a free port of 127.0.0.1 and gives each connection a thread."""

    def __init__(self, host: str = "127.0.0.1", port: int = 0) -> None:
        self._listening = socket.create_server((host, port))
        self._listening.settimeout(LOOK_S)
        self.host, self.port = self._listening.getsockname()[:2]
        self.stopping = threading.Event()
        self._threads = [threading.Thread(target=self._accept, name=f"listen {self.port}", daemon=True)]

    def start(self) -> None:
        """Begin to accept."""
        self._threads[0].start()

    def stop(self) -> None:
        """End all connections and free the port."""
        self.stopping.set()
        for thread in self._threads:
            thread.join()
        self._listening.close()

    def serve(self, wire: SocketWire) -> None:
        """Answer on one connection until it ends or ``stopping`` is set."""
        raise NotImplementedError

    def _accept(self) -> None:
        while not self.stopping.is_set():
            try:
                connection, _ = self._listening.accept()
            except TimeoutError:
                continue
            connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            thread = threading.Thread(target=self._one, args=(connection,), daemon=True)
            self._threads.append(thread)
            thread.start()

    def _one(self, connection: socket.socket) -> None:
        with connection:
            self.serve(SocketWire(connection))
