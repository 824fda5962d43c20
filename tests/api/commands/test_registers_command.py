"""The command around a register table: nothing unasked is taken, and nothing there is written over."""

from __future__ import annotations

from pathlib import Path

import pytest

from api.commands import main
from collector.registers import load_register_map

TABLE = (
    "No,Name,Format,Unit\n40021,Actual speed,UINT16,rpm\n40022,Flow,UINT16,gpm\n"
    "40031,Flow average 2,UINT16,gpm\n"
)
COLUMNS = "address=No, name=Name, type=Format, unit=Unit"


def registers(folder: Path, *words: str) -> int:
    (folder / "t.csv").write_text(TABLE, encoding="utf-8")
    columns = ["--columns", COLUMNS, "--addresses", "one-based"]
    return main(["registers", str(folder / "t.csv"), *columns, *words])


def test_proposals_are_told_and_not_taken_unasked(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert registers(tmp_path) == 2
    shown = capsys.readouterr()
    assert (shown.out, '--quantity "speed_rpm=Actual speed" takes it' in shown.err) == ("", True)


def test_a_map_is_written_once_and_left_as_it_is_without_force(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "map.toml"
    assert registers(tmp_path, "--quantity", "flow_m3h=Flow", "--write", str(path)) == 0
    before = path.read_text(encoding="utf-8")
    assert registers(tmp_path, "--take-proposals", "--write", str(path)) == 2
    assert "is there already, and is left as it is; --force replaces it" in capsys.readouterr().err
    assert path.read_text(encoding="utf-8") == before
    assert registers(tmp_path, "--take-proposals", "--write", str(path), "--force") == 0
    assert {point.quantity.name for point in load_register_map(path).points} == {"speed_rpm", "flow_m3h"}


def test_the_folder_of_maps_is_made_when_it_is_not_there_yet(tmp_path: Path) -> None:
    path = tmp_path / "maps" / "pump.toml"
    assert registers(tmp_path, "--quantity", "flow_m3h=Flow", "--write", str(path)) == 0
    assert path.is_file()


def test_a_bad_cell_is_one_line_and_no_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "map.toml"
    assert registers(tmp_path, "--quantity", "power_w=Flow", "--write", str(path)) == 2
    assert "line 3, column 'Unit' (power_w): expected a unit of power_w: W, kW, hp" in capsys.readouterr().err
    assert not path.exists()
