"""Several processes share the file, and none takes the log of writes away from another."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from collector.reading import Reading
from collector.store import open_store


def test_a_neighbour_that_closes_the_file_leaves_our_log_of_writes_alone(tmp_path: Path) -> None:
    # SQLite deletes the log when the last user closes the file. Whoever opens and closes the file itself
    # loses all locks of the process on it (POSIX advisory locks; sqlite.org/howtocorrupt.html, 2.2), and a
    # neighbour then takes itself for the last user.
    path = tmp_path / "site.sqlite"
    url = f"sqlite:///{path}"
    first = open_store(url)
    first.append([Reading(pump="P1", time_utc_ms=1)])
    second = open_store(url)
    words = "import sys; from collector.store import open_store; open_store(sys.argv[1]).close()"
    subprocess.run([sys.executable, "-c", words, url], check=True)
    log_is_there = path.with_name("site.sqlite-wal").exists()
    first.close()
    second.close()
    assert log_is_there
