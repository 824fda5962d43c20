"""Files that a person keeps are written in one piece: whole and on disk, or not at all.

A draft stands beside the file, under a name of its own, until its bytes are on disk; only then does it get
the file's name. So a full disk, a pulled plug or Ctrl-C leaves what was there before, and no half of what
was to come.
"""

from __future__ import annotations

import errno
import os
import secrets
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Final

_NO_LINKS: Final = frozenset({errno.EPERM, errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOSYS, errno.EMLINK})
"""What systems without hard links (a memory stick, some shares) answer to one."""


class NotWrittenError(Exception):
    """A file was not written, and what was there before stands; the message is one line for the reader."""


class AlreadyThereError(NotWrittenError):
    """A new file was to be written where one is."""


def write_new(path: Path, text: str | bytes) -> None:
    """Write a file that is not there yet; text as UTF-8 with its own line ends.

    Raises
    ------
    AlreadyThereError
        When something has that name, also when it came while this was writing; it is left as it is.
    NotWrittenError
        When it cannot be written.

    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     write_new(Path(folder, "a.toml"), "a = 1")
    ...     Path(folder, "a.toml").read_text(encoding="utf-8")
    'a = 1'
    """
    with _told(path):
        if os.path.lexists(path):
            raise FileExistsError
        with _draft(path, text) as draft:
            _name_without_replacing(draft, path)


def write_over(path: Path, text: str | bytes) -> None:
    """Write a file, in place of the one that may be there; it keeps its owner and who may read it.

    A link stays a link.

    Raises
    ------
    NotWrittenError
        When it cannot be written; the file that was there is whole.
    """
    with _told(path):
        place = Path(os.path.realpath(path))
        with _draft(place, text) as draft:
            if place.exists():
                _keep_owner(place, draft)
                shutil.copymode(place, draft)
            os.replace(draft, place)


def why_not_into(folder: Path) -> str:
    """Return why no file can come into a folder; empty where it is there, or ``make_folder`` can make it.

    To be asked before the work whose outcome is to be written.

    >>> why_not_into(Path("/no/such/maps"))
    'there is no folder /no/such/maps'
    """
    nearest = folder if folder.exists() else folder.parent
    if not nearest.is_dir():
        return f"there is no folder {folder}"
    return "" if os.access(nearest, os.W_OK) else f"the folder {nearest} may not be written to"


def make_folder(folder: Path) -> None:
    """Make a folder that is not there, in one that is: a mistyped path does not become a tree.

    Raises
    ------
    NotWrittenError
        When it cannot be made.
    """
    with _told(folder):
        folder.mkdir(exist_ok=True)


def _keep_owner(place: Path, draft: Path) -> None:
    """Give a draft the owner and group of the file in whose place it comes, as far as we may."""
    if os.name == "nt":
        return
    was = place.stat()
    # Root may; another who writes over a file in his folder becomes its owner, as with any editor.
    with suppress(PermissionError):
        os.chown(draft, was.st_uid, was.st_gid)


@contextmanager
def _told(path: Path) -> Iterator[None]:
    try:
        yield
    except FileExistsError as error:
        raise AlreadyThereError(f"{path} is there already, and is left as it is") from error
    except OSError as error:
        raise NotWrittenError(f"{path}: cannot be written: {error.strerror or error}") from error


@contextmanager
def _draft(path: Path, text: str | bytes) -> Iterator[Path]:
    """Give a draft that is on disk; whatever comes, it is gone afterwards, and its folder is on disk too."""
    draft = path.with_name(f".{path.name[:100]}.{secrets.token_hex(4)}.draft")
    try:
        with draft.open("xb") as file:
            file.write(text.encode("utf-8") if isinstance(text, str) else text)
            file.flush()
            os.fsync(file.fileno())
        yield draft
    finally:
        with suppress(FileNotFoundError):
            draft.unlink()
    _sync_folder(path.parent)


def _name_without_replacing(draft: Path, path: Path) -> None:
    """Give a draft its name; FileExistsError when that is taken, by whomever and however late."""
    if os.name == "nt":
        draft.rename(path)  # On Windows this never replaces.
        return
    try:
        os.link(draft, path)
    except OSError as error:
        if error.errno not in _NO_LINKS:
            raise
        _claim_and_replace(draft, path)


def _claim_and_replace(draft: Path, path: Path) -> None:
    path.open("x").close()  # Nobody else gets the name from here on.
    try:
        os.replace(draft, path)
    except BaseException:
        path.unlink()
        raise


def _sync_folder(folder: Path) -> None:
    """Put a folder's names on disk, where the system lets a folder be opened."""
    if os.name == "nt":
        return
    # Some shares cannot, and some folders may be written but not read: the file has its name all the same,
    # and its own bytes are on disk.
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
