"""Documents from the command line: kept, listed, saved and removed; what cannot be is refused in one line."""

from __future__ import annotations

import argparse
import json
import shutil
from pathlib import Path

import pytest

from api.commands import FAILED, OK, Refusal, document_command

PUMP = "Lap pool 1"
PDF = b"%PDF-1.4\n1 0 obj<</Type/Catalog>>endobj\ntrailer<</Root 1 0 R>>\n%%EOF\n"


@pytest.fixture
def site(analysed_folder: Path, tmp_path: Path) -> Path:
    shutil.copytree(analysed_folder, tmp_path / "site")
    return tmp_path / "site" / "site.toml"


@pytest.fixture
def manual(tmp_path: Path) -> Path:
    path = tmp_path / "pump manual.pdf"
    path.write_bytes(PDF)
    return path


def run(site: Path, *words: str, pump: str = PUMP) -> int:
    parser = argparse.ArgumentParser()
    document_command.add_arguments(parser)
    return document_command.run(parser.parse_args([pump, *words, "--site", str(site)]))


def refusal(site: Path, *words: str, pump: str = PUMP) -> str:
    with pytest.raises(Refusal) as caught:
        run(site, *words, pump=pump)
    assert "\n" not in str(caught.value)
    return str(caught.value)


def test_a_file_is_kept_under_its_own_name_and_listed(
    site: Path, manual: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(site, "add", str(manual), "--kind", "manual") == OK
    assert run(site) == OK
    kept, line = capsys.readouterr().out.splitlines()
    assert kept.startswith("Lap pool 1: kept: 1: pump manual (manual, PDF, 69 bytes), added ")
    assert kept.endswith(" (technician)")
    assert line == kept.removeprefix("Lap pool 1: kept: ")


def test_what_is_kept_comes_back_byte_for_byte_and_replaces_no_file(
    site: Path, manual: Path, tmp_path: Path
) -> None:
    run(site, "add", str(manual), "--kind", "manual")
    manual.unlink()
    place = tmp_path / "back.pdf"
    assert run(site, "get", "1", "--to", str(place)) == OK
    assert place.read_bytes() == PDF
    with pytest.raises(Refusal, match="is there already") as caught:
        run(site, "get", "1", "--to", str(place))
    assert caught.value.exit_code == FAILED


def test_the_same_file_twice_is_kept_once(
    site: Path, manual: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run(site, "add", str(manual), "--kind", "manual")
    run(site, "add", str(manual), "--kind", "other", "--title", "Again")
    assert "was here already, kept once: 1: pump manual (manual" in capsys.readouterr().out


def test_what_is_removed_leaves_a_line(site: Path, manual: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(site, "add", str(manual), "--kind", "photo", "--title", "Somebody")
    run(site, "remove", "1", "--role", "manager")
    assert "removed for good" in capsys.readouterr().out
    run(site)
    assert capsys.readouterr().out.endswith(" (manager): photo, PDF, 69 bytes\n")
    run(site, "list", "--json")
    (row,) = json.loads(capsys.readouterr().out)
    assert (row["title"], row["sha256"], row["removed_by"]) == ("", None, "manager")


def test_what_several_pumps_keep_is_said_when_one_removes_it(
    site: Path, manual: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run(site, "add", str(manual), "--kind", "manual")
    run(site, "add", str(manual), "--kind", "manual", pump="Hot tub")
    run(site, "remove", "1")
    assert "(also with Hot tub)" in capsys.readouterr().out


def test_a_pump_without_documents_says_so(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(site)
    assert capsys.readouterr().out == "Lap pool 1: no document is kept\n"


def test_bad_input_is_refused_in_one_line(site: Path, manual: Path, tmp_path: Path) -> None:
    page = tmp_path / "page.pdf"
    page.write_text("<html>", encoding="utf-8")
    large = tmp_path / "large.pdf"
    with large.open("wb") as file:
        file.truncate(21_000_000)
    assert "page.pdf: is no PDF, PNG or JPEG" in refusal(site, "add", str(page), "--kind", "manual")
    assert "large.pdf: has 21.0 MB; at most 20 MB" in refusal(site, "add", str(large), "--kind", "manual")
    assert "--kind: is missing; expected one of manual" in refusal(site, "add", str(manual))
    assert "did you mean 'manual'?" in refusal(site, "add", str(manual), "--kind", "manul")
    assert "which file?" in refusal(site, "add")
    assert "cannot be read" in refusal(site, "add", str(tmp_path / "none.pdf"), "--kind", "manual")
    assert "cannot be read: Is a directory" in refusal(site, "add", str(tmp_path), "--kind", "manual")
    assert "expected a number of one of Lap pool 1: none" in refusal(site, "get", "1")


def test_a_document_of_another_pump_is_not_reached_by_its_number(site: Path, manual: Path) -> None:
    run(site, "add", str(manual), "--kind", "manual", pump="Hot tub")
    assert "expected a number of one of Lap pool 1: none" in refusal(site, "remove", "1")
