"""A file is written whole, or what was there stays whole; and nothing is left lying beside it."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import textwrap
import threading
from pathlib import Path

import pytest

from collector.whole_file import (
    AlreadyThereError,
    NotWrittenError,
    make_folder,
    why_not_into,
    write_new,
    write_over,
)


def test_a_new_file_holds_the_text_and_nothing_is_left_beside_it(tmp_path: Path) -> None:
    write_new(tmp_path / "map.toml", "unit = '°C'\n")
    assert (tmp_path / "map.toml").read_bytes() == "unit = '°C'\n".encode()
    assert [each.name for each in tmp_path.iterdir()] == ["map.toml"]


def test_a_new_file_is_refused_where_one_is_and_that_one_stays(tmp_path: Path) -> None:
    path = tmp_path / "map.toml"
    path.write_text("theirs", encoding="utf-8")
    with pytest.raises(AlreadyThereError) as refused:
        write_new(path, "ours")
    assert str(refused.value) == f"{path} is there already, and is left as it is"
    assert path.read_text(encoding="utf-8") == "theirs"
    assert len(list(tmp_path.iterdir())) == 1


def test_a_link_that_leads_nowhere_counts_as_there(tmp_path: Path) -> None:
    (tmp_path / "map.toml").symlink_to(tmp_path / "nowhere")
    with pytest.raises(AlreadyThereError):
        write_new(tmp_path / "map.toml", "ours")
    assert not (tmp_path / "nowhere").exists()


def test_of_many_that_write_one_new_file_one_wins_whole(tmp_path: Path) -> None:
    path, outcomes = tmp_path / "map.toml", list[str]()

    def write(text: str) -> None:
        try:
            write_new(path, text)
            outcomes.append(text)
        except AlreadyThereError:
            pass

    writers = [threading.Thread(target=write, args=(letter * 50_000,)) for letter in "abcdefgh"]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    assert outcomes == [path.read_text(encoding="utf-8")]


def test_where_links_are_not_to_be_had_the_name_is_claimed_instead(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_links(*_: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", no_links)
    write_new(tmp_path / "map.toml", "whole")
    with pytest.raises(AlreadyThereError):
        write_new(tmp_path / "map.toml", "again")
    assert (tmp_path / "map.toml").read_text(encoding="utf-8") == "whole"
    assert len(list(tmp_path.iterdir())) == 1


def test_writing_over_replaces_and_keeps_who_may_read(tmp_path: Path) -> None:
    path = tmp_path / "samples.toml"
    path.write_text("old", encoding="utf-8")
    path.chmod(0o640)
    write_over(path, "new")
    assert path.read_text(encoding="utf-8") == "new"
    assert path.stat().st_mode & 0o777 == 0o640
    assert len(list(tmp_path.iterdir())) == 1


def test_writing_over_a_link_writes_what_it_leads_to(tmp_path: Path) -> None:
    real, link = tmp_path / "real.toml", tmp_path / "link.toml"
    real.write_text("old", encoding="utf-8")
    link.symlink_to(real)
    write_over(link, "new")
    assert link.is_symlink()
    assert real.read_text(encoding="utf-8") == "new"


def test_writing_over_writes_where_nothing_was(tmp_path: Path) -> None:
    write_over(tmp_path / "new.toml", "new")
    assert (tmp_path / "new.toml").read_text(encoding="utf-8") == "new"


def test_a_missing_folder_is_told_in_one_line(tmp_path: Path) -> None:
    path = tmp_path / "nowhere" / "map.toml"
    with pytest.raises(NotWrittenError) as refused:
        write_new(path, "text")
    assert str(refused.value) == f"{path}: cannot be written: No such file or directory"


WRITER = """
    import resource, signal, sys
    from pathlib import Path
    from collector.whole_file import NotWrittenError, write_new, write_over
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (4096, 4096))
    try:
        {function}(Path(sys.argv[1]), "x" * 100_000)
    except NotWrittenError as error:
        print(error)
"""


@pytest.mark.skipif(os.name == "nt", reason="a limit on a file's size is set the POSIX way")
@pytest.mark.parametrize("function", ["write_new", "write_over"])
def test_where_no_more_bytes_go_to_disk_the_old_file_stays_and_no_draft(
    tmp_path: Path, function: str
) -> None:
    path = tmp_path / "samples.toml"
    if function == "write_over":
        path.write_text("old", encoding="utf-8")
    said = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(WRITER.format(function=function)), str(path)],
        capture_output=True, text=True, check=True, timeout=60,
    )  # fmt: skip
    assert said.stdout == f"{path}: cannot be written: File too large\n"
    left = {each.name: each.read_text(encoding="utf-8") for each in tmp_path.iterdir()}
    assert left == ({"samples.toml": "old"} if function == "write_over" else {})


ENDLESS_WRITER = """
    import sys
    from pathlib import Path
    from collector.whole_file import write_over
    turn = 0
    print("begun", flush=True)
    while True:
        turn += 1
        write_over(Path(sys.argv[1]), f"{turn}\\n" * 20_000)
"""


@pytest.mark.skipif(os.name == "nt", reason="Ctrl-C is sent the POSIX way")
def test_ctrl_c_at_any_moment_leaves_one_whole_file_and_no_draft(tmp_path: Path) -> None:
    path = tmp_path / "samples.toml"
    for pause_s in (0.0, 0.003, 0.011, 0.017, 0.029):
        writer = subprocess.Popen(
            [sys.executable, "-c", textwrap.dedent(ENDLESS_WRITER), str(path)],
            stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        with writer:
            assert writer.stdout is not None
            writer.stdout.readline()
            threading.Event().wait(pause_s)
            try:
                writer.send_signal(signal.SIGINT)
                writer.wait(60)
            finally:
                writer.kill()
        if path.exists():
            assert len(set(path.read_text(encoding="utf-8").splitlines())) == 1
            assert path.read_text(encoding="utf-8").count("\n") == 20_000
        assert [each.name for each in tmp_path.iterdir()] == ["samples.toml"] * path.exists()


def test_a_file_written_over_keeps_its_owner_and_mode(tmp_path: Path) -> None:
    path = tmp_path / "map.toml"
    path.write_text("old", encoding="utf-8")
    path.chmod(0o600)
    if os.geteuid() == 0:
        os.chown(path, 12_345, 12_346)
    before = path.stat()
    write_over(path, "new")
    after = path.stat()
    assert (after.st_uid, after.st_gid, after.st_mode) == (before.st_uid, before.st_gid, before.st_mode)


def test_a_folder_that_may_not_be_read_is_no_reason_to_deny_what_was_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    system_open = os.open

    def refused(path: object, flags: int, *more: int, **named: int) -> int:
        if Path(str(path)) == tmp_path:
            raise PermissionError(13, "Permission denied")
        return system_open(str(path), flags, *more, **named)

    monkeypatch.setattr(os, "open", refused)
    write_new(tmp_path / "map.toml", "ours")
    assert (tmp_path / "map.toml").read_text(encoding="utf-8") == "ours"


def test_a_folder_is_made_in_one_that_is_there(tmp_path: Path) -> None:
    assert why_not_into(tmp_path / "maps") == ""
    make_folder(tmp_path / "maps")
    make_folder(tmp_path / "maps")
    assert (tmp_path / "maps").is_dir()


def test_a_mistyped_path_does_not_become_a_tree(tmp_path: Path) -> None:
    folder = tmp_path / "mpas" / "pump"
    assert why_not_into(folder) == f"there is no folder {folder}"
    with pytest.raises(NotWrittenError, match="cannot be written: No such file"):
        make_folder(folder)
    assert list(tmp_path.iterdir()) == []


def test_a_file_is_no_folder(tmp_path: Path) -> None:
    (tmp_path / "maps").write_bytes(b"")
    assert why_not_into(tmp_path / "maps") == f"there is no folder {tmp_path / 'maps'}"


def test_a_folder_that_may_not_be_written_to_is_named_before_the_work(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "access", lambda place, way: not (place == tmp_path and way == os.W_OK))
    assert why_not_into(tmp_path / "maps") == f"the folder {tmp_path} may not be written to"
