"""The real server, in a process of its own, on a real socket of this machine."""

from __future__ import annotations

import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import threading
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest

RUN = (
    "import argparse, sys\n"
    "from api.commands import Refusal, serve_command\n"
    "parser = argparse.ArgumentParser()\n"
    "serve_command.add_arguments(parser)\n"
    "try:\n"
    "    code = serve_command.run(parser.parse_args())\n"
    "except Refusal as refusal:\n"
    "    print(refusal, file=sys.stderr)\n"
    "    code = refusal.exit_code\n"
    "raise SystemExit(code)\n"
)


def serve_command(site: Path, *words: str) -> list[str]:
    return [sys.executable, "-c", RUN, "--site", str(site), *words]


@pytest.fixture
def site(analysed_folder: Path, tmp_path: Path) -> Path:
    shutil.copytree(analysed_folder, tmp_path / "copy")
    return tmp_path / "copy" / "site.toml"


@pytest.fixture
def server(site: Path) -> Iterator[tuple[subprocess.Popen[str], str]]:
    process = subprocess.Popen(serve_command(site, "--port", "0"), stdout=subprocess.PIPE, text=True)
    try:
        assert process.stdout is not None
        yield process, process.stdout.readline().split()[-1]
    finally:
        process.kill()
        process.wait()
        assert process.stdout is not None
        process.stdout.close()


def get(address: str) -> bytes:
    with urllib.request.urlopen(address, timeout=20) as answer:
        return bytes(answer.read())


def test_it_prints_its_address_and_answers_there(server: tuple[subprocess.Popen[str], str]) -> None:
    _, address = server
    assert address.startswith("http://127.0.0.1:")
    assert json.loads(get(f"{address}health")) == {"status": "alive"}
    assert b"Lap pool 1" in get(address)


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no SIGTERM for a process of another kind")
def test_it_stops_within_five_seconds_when_asked_to(server: tuple[subprocess.Popen[str], str]) -> None:
    process, address = server
    get(address)
    process.send_signal(signal.SIGTERM)
    assert process.wait(timeout=5) in (0, -signal.SIGTERM)


def test_twenty_readers_at_once_all_get_their_page(server: tuple[subprocess.Popen[str], str]) -> None:
    _, address = server
    answers: list[bytes] = []
    readers = [threading.Thread(target=lambda: answers.append(get(address))) for _ in range(20)]
    for reader in readers:
        reader.start()
    for reader in readers:
        reader.join()
    assert len(answers) == 20


def test_half_open_connections_do_not_keep_others_out(server: tuple[subprocess.Popen[str], str]) -> None:
    _, address = server
    port = int(address.rsplit(":", 1)[1].strip("/"))
    half_open = [socket.create_connection(("127.0.0.1", port)) for _ in range(100)]
    for one in half_open:
        one.sendall(b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n")
    answer = get(f"{address}health")
    for one in half_open:
        one.close()
    assert answer


def test_a_foreign_host_name_is_refused_on_the_wire(server: tuple[subprocess.Popen[str], str]) -> None:
    _, address = server
    request = urllib.request.Request(address, headers={"Host": "evil.example"})
    with pytest.raises(urllib.error.HTTPError) as refused:
        urllib.request.urlopen(request, timeout=20)
    refused.value.close()
    assert refused.value.code == 400


def refusal(*words: str) -> tuple[int, str]:
    done = subprocess.run(words, capture_output=True, text=True, timeout=60, check=False)
    return done.returncode, done.stderr


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.168.1.5"])
def test_any_address_but_this_machine_is_refused_in_one_line(site: Path, host: str) -> None:
    code, words = refusal(*serve_command(site, "--host", host))
    assert code == 2
    assert words.count("\n") == 1
    assert host in words


def test_a_port_that_is_taken_is_named(site: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = str(taken.getsockname()[1])
        code, words = refusal(*serve_command(site, "--port", port))
    assert code == 1
    assert f"port {port}" in words


def test_a_site_file_that_is_not_there_is_named_in_one_line(tmp_path: Path) -> None:
    code, words = refusal(*serve_command(tmp_path / "nowhere.toml"))
    assert code == 2
    assert "nowhere.toml" in words
    assert words.count("\n") == 1


def test_the_server_writes_nothing_but_the_database(
    site: Path, server: tuple[subprocess.Popen[str], str]
) -> None:
    get(server[1])
    assert {name.split("-")[0] for name in os.listdir(site.parent)} == {"site.toml", "site.sqlite"}
