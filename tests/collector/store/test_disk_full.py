"""A full disk is said, costs nothing that was kept, and writing goes on once there is space again."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from collector.reading import Reading
from collector.store import Store, StoreFull, open_store

ROOT = Path(__file__).parents[3]
END = 10**15


def batch(number: int) -> list[Reading]:
    return [Reading(pump="P01", time_utc_ms=number * 1000 + time, head_m=time / 7) for time in range(1000)]


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    folder = tmp_path / "small"
    folder.mkdir()
    words = ["mount", "-t", "tmpfs", "-o", "size=600k,mode=777", "tmpfs", str(folder)]
    try:
        mounted = subprocess.run(words, capture_output=True, check=False).returncode == 0
    except FileNotFoundError:
        mounted = False
    if not mounted:
        pytest.skip("this user may not mount a small disk; the size limit below stands in for it")
    yield folder
    subprocess.run(["umount", str(folder)], check=True)


def fill(store: Store) -> int:
    """Append until the disk is full and return how many batches were kept."""
    for number in range(1000):
        try:
            store.append(batch(number))
        except StoreFull:
            return number
    raise AssertionError("the disk never got full")


def test_a_full_disk_keeps_what_was_kept_and_writing_resumes(small_disk: Path) -> None:
    ballast = small_disk / "ballast"
    ballast.write_bytes(b"x" * 200_000)
    store = open_store(f"sqlite:///{small_disk / 'site.sqlite'}")
    try:
        kept = fill(store)
        with pytest.raises(StoreFull, match="the disk is full; free some space"):
            store.append(batch(kept))
        assert len(store.rows("P01", 0, END)) == kept * 1000
        ballast.unlink()
        assert store.append(batch(kept)) == 1000
        assert len(store.rows("P01", 0, END)) == (kept + 1) * 1000
    finally:
        store.close()


LIMITED = """
import resource, sys
from collector.reading import Reading
from collector.store import StoreError, open_store
store = open_store("sqlite:///" + sys.argv[1])
def batch(number):
    return [Reading(pump="P01", time_utc_ms=number * 1000 + time, head_m=time / 7) for time in range(1000)]
kept = 0
resource.setrlimit(resource.RLIMIT_FSIZE, (300_000, resource.RLIM_INFINITY))
try:
    while kept < 1000:
        store.append(batch(kept))
        kept += 1
except StoreError as error:
    print(error)
resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
print(kept, len(store.rows("P01", 0, 10**15)) // 1000, store.append(batch(kept)))
store.close()
"""


@pytest.mark.skipif(sys.platform == "win32", reason="file size limits are POSIX")
def test_a_file_that_may_not_grow_keeps_what_was_kept_and_writing_resumes(file: Path) -> None:
    """A size limit of the process stands in for a full disk where none can be mounted."""
    words = [sys.executable, "-c", LIMITED, str(file)]
    done = subprocess.run(words, cwd=ROOT, capture_output=True, text=True, check=False)
    said, counts = done.stdout.splitlines()
    kept, found, new = map(int, counts.split())
    assert said == f"{file} could not be read or written: the disk reports an error or a size limit"
    assert (kept > 0, found, new) == (True, kept, 1000)
