"""One who may only read a site's files gets its findings and its energy; nothing is made or changed."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from collector.reading import Reading
from collector.store import open_store

ROOT = Path(__file__).parents[3]
pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="rights are POSIX here")


@pytest.fixture
def site(analysed_folder: Path) -> Iterator[Path]:
    """Return a site file in a folder that others may look into and not write."""
    folder = Path(tempfile.mkdtemp(prefix="owncurve-read-"))
    shutil.copytree(analysed_folder, folder / "site")
    for each in (folder, folder / "site"):
        each.chmod(0o755)
    for each in (folder / "site").iterdir():
        each.chmod(0o644)
    yield folder / "site" / "site.toml"
    (folder / "site").chmod(0o755)
    shutil.rmtree(folder)


AS_NOBODY = """
import contextlib, io, os, sys
from api.commands import main
warm, *words = sys.argv[1:]
with contextlib.redirect_stdout(io.StringIO()):
    # What the command imports on its way may lie where nobody else may look: so it is imported before.
    main([words[0], "--site", warm])
os.setgroups([])
os.setgid(65534)
os.setuid(65534)
sys.exit(main(words))
"""


def as_a_reader(site: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """Run a command as a user who may read and not write, also where the tests run as the superuser."""
    command = [*words, "--site", str(site)]
    if os.geteuid() == 0:
        warm = site.parent.parent / "warm"
        shutil.copytree(site.parent, warm)
        begin = [sys.executable, "-c", AS_NOBODY, str(warm / "site.toml"), *command]
    else:
        for each in site.parent.iterdir():
            each.chmod(0o444)
        site.parent.chmod(0o555)
        begin = [sys.executable, "-m", "api", *command]
    return subprocess.run(begin, cwd=ROOT, capture_output=True, text=True, check=False, timeout=120)


@pytest.mark.parametrize(("command", "words"), [("findings", "below this pump's"), ("energy", "Lap")])
def test_one_who_may_only_read_is_answered(site: Path, command: str, words: str) -> None:
    before = {each.name: each.read_bytes() for each in site.parent.iterdir()}
    done = as_a_reader(site, command)
    assert (done.returncode, done.stderr) == (0, "")
    assert words in done.stdout
    assert {each.name: each.read_bytes() for each in site.parent.iterdir()} == before


def test_what_was_just_written_is_read_while_the_writer_is_there(site: Path) -> None:
    with closing(open_store(f"sqlite:///{site.with_suffix('.sqlite')}")) as store:
        store.append([Reading(pump="Fountain", time_utc_ms=1_783_000_000_000, speed_rpm=1000.0)])
        for each in site.parent.iterdir():
            each.chmod(0o644)
        done = as_a_reader(site, "findings", "--pump", "Fountain")
        assert (done.returncode, done.stderr) == (0, "")
        assert "No readings yet" not in done.stdout


def test_what_changes_the_data_is_still_refused_in_one_line(site: Path) -> None:
    done = as_a_reader(site, "analyse")
    assert done.returncode == 1
    assert done.stderr.count("\n") == 1
    assert "allow this user to write the file and its folder" in done.stderr
