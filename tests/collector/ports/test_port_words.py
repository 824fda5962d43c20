"""What a tech is told to do about a port that is closed to him, or slow."""

from __future__ import annotations

import os
import pty
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from collector.ports.latency import RULE, latency_words
from collector.ports.rights import Rights, rights_of, rights_trouble


def rights(
    *, may_use: bool = False, group: str = "dialout", group_may: bool = True, is_listed: bool = False
) -> Rights:
    return Rights(may_use=may_use, group=group, group_may=group_may, user="ana", is_listed=is_listed)


@pytest.fixture
def terminal() -> Iterator[str]:
    far, near = pty.openpty()
    yield os.ttyname(near)
    os.close(near)
    os.close(far)


def test_nothing_is_said_where_nothing_keeps_the_user_out() -> None:
    assert rights_trouble("/dev/ttyUSB0", rights(may_use=True)) == ""


@pytest.mark.parametrize("group", ["dialout", "uucp"])
def test_the_command_names_the_ports_own_group_and_the_user(group: str) -> None:
    words = rights_trouble("/dev/ttyUSB0", rights(group=group))
    assert f'"sudo usermod -aG {group} ana"' in words
    assert "log out" in words


def test_a_member_whose_session_is_too_old_is_told_to_log_in_again() -> None:
    words = rights_trouble("/dev/ttyUSB0", rights(is_listed=True))
    assert "log out and in again" in words
    assert "usermod" not in words


@pytest.mark.parametrize("odd", [rights(group_may=False), rights(group="root")])
def test_nobody_is_sent_into_a_group_that_does_not_help_or_gives_too_much(odd: Rights) -> None:
    words = rights_trouble("/dev/ttyUSB0", odd)
    assert "usermod" not in words
    assert '"sudo chgrp dialout /dev/ttyUSB0 && sudo chmod g+rw /dev/ttyUSB0"' in words


def test_a_port_of_our_own_may_be_used(terminal: str) -> None:
    found = rights_of(Path(terminal))
    assert found is not None
    assert found.may_use


@pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() != 0, reason="only root can become another user"
)
def test_another_user_is_kept_out_of_a_real_port(terminal: str) -> None:
    os.chmod(terminal, 0o660)
    script = (
        "import os, sys; os.setgroups([]); os.setgid(65534); os.setuid(65534); from pathlib import Path; "
        "from collector.ports.rights import rights_of, rights_trouble; "
        "print(rights_trouble(sys.argv[1], rights_of(Path(sys.argv[1]))))"
    )
    # The modules are loaded before the user is changed: the folder may be closed to others.
    script = f"import pwd, grp, collector.ports.rights, encodings.idna; {script}"
    done = subprocess.run(
        [sys.executable, "-c", script, terminal], capture_output=True, text=True, check=True
    )
    assert done.stdout.startswith("no permission")


def test_the_cost_of_the_usual_timer_is_told_as_it_was_measured() -> None:
    words = latency_words(16, "/sys/a/latency_timer")
    assert "every 16 ms" in words
    assert "three times the line's own time at 115200" in words
    assert "1.13 times at 9600" in words
    assert '"echo 1 | sudo tee /sys/a/latency_timer"' in words
    assert RULE in words


def test_a_timer_that_was_not_measured_is_told_without_figures() -> None:
    words = latency_words(10, "/sys/a/latency_timer")
    assert "every 10 ms" in words
    assert "measured" not in words


@pytest.mark.parametrize("timer_ms", [1, 2])
def test_a_short_timer_is_good_news(timer_ms: int) -> None:
    assert "short enough" in latency_words(timer_ms, "/sys/a/latency_timer")
