"""What keeps a user from a port, and the command that mends it."""

from __future__ import annotations

import os
import stat
import sys
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True, kw_only=True)
class Rights:
    """Who may use a port, and who we are. ``group_may`` is whether its group may read and write it."""

    may_use: bool
    group: str
    group_may: bool
    user: str
    is_listed: bool
    """Whether the system's list names the user as a member of the group."""


def rights_trouble(port: str, rights: Rights) -> str:
    """Return what keeps the user out and what to do about it; empty when nothing does.

    >>> rights_trouble("/dev/ttyUSB0", Rights(
    ...     may_use=False, group="dialout", group_may=True, user="ana", is_listed=False))
    'no permission: run "sudo usermod -aG dialout ana", then log out and in again'
    """
    if rights.may_use:
        return ""
    if rights.group_may and rights.is_listed:
        return (
            f"no permission: {rights.user} is in the group {rights.group}, but this session began before "
            "that; log out and in again"
        )
    # Membership of root's group gives far more than a port.
    if rights.group_may and rights.group != "root":
        return (
            f'no permission: run "sudo usermod -aG {rights.group} {rights.user}", then log out and in again'
        )
    return (
        f"no permission, and no group that could give it: run "
        f'"sudo chgrp dialout {port} && sudo chmod g+rw {port}" (until it is unplugged)'
    )


def rights_of(port: Path) -> Rights | None:
    """Look at who may use the port; ``None`` where there is nothing to look at, or on Windows."""
    if sys.platform == "win32":
        return None
    try:
        found = port.stat()
    except OSError:
        return None
    user = _user()
    return Rights(
        may_use=os.access(port, os.R_OK | os.W_OK),
        group=_group(found.st_gid),
        group_may=bool(found.st_mode & stat.S_IRGRP and found.st_mode & stat.S_IWGRP),
        user=user,
        is_listed=_is_listed(user, found.st_gid),
    )


def _user() -> str:
    import pwd

    try:
        return pwd.getpwuid(os.geteuid()).pw_name
    except KeyError:
        return str(os.geteuid())


def _group(number: int) -> str:
    import grp

    try:
        return grp.getgrgid(number).gr_name
    except KeyError:
        return str(number)


def _is_listed(user: str, group_number: int) -> bool:
    import grp

    try:
        return user in grp.getgrgid(group_number).gr_mem
    except KeyError:
        return False
