"""The first-day sheet on the command line, and the acceptance of a learned curve."""

from __future__ import annotations

import argparse
import json
import shutil
from pathlib import Path

import pytest

from api.commands import OK, Refusal, commission_command

PUMP = "Lap pool 1"


@pytest.fixture
def site(analysed_folder: Path, tmp_path: Path) -> Path:
    shutil.copytree(analysed_folder, tmp_path / "site")
    return tmp_path / "site" / "site.toml"


def run(site: Path, *words: str, pump: str = PUMP) -> int:
    parser = argparse.ArgumentParser()
    commission_command.add_arguments(parser)
    return commission_command.run(parser.parse_args([pump, *words, "--site", str(site)]))


def refusal(site: Path, *words: str, pump: str = PUMP) -> str:
    with pytest.raises(Refusal) as caught:
        run(site, *words, pump=pump)
    assert "\n" not in str(caught.value)
    return str(caught.value)


def test_the_sheet_is_printed_with_its_sections_and_cautions(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(site) == OK
    out = capsys.readouterr().out
    for title in ("The pump", "Where it stands", "Control", "Readings", "Own curve", "What is watched"):
        assert f"\n\n{title}\n" in out
    assert "  Rated speed         2,900 rpm" in out
    assert "  Make                (not stated)" in out
    assert "lock it out" in out
    assert max(map(len, out.splitlines())) <= 100


def test_a_full_curve_is_accepted_and_the_acceptance_stays(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(site, "--accept-baseline", "--role", "engineer", "--note", "seen") == OK
    capsys.readouterr()
    run(site, "--json")
    baseline = json.loads(capsys.readouterr().out)["baseline"]
    assert (baseline["state"], baseline["accepted_by"]) == ("full", "engineer")
    assert (baseline["accepted_note"], baseline["is_of_this_curve"]) == ("seen", True)
    assert "was accepted by the engineer on" in refusal(site, "--accept-baseline")


def test_what_cannot_be_accepted_is_refused_in_one_line(site: Path) -> None:
    assert "has no curve of its own yet" in refusal(site, "--accept-baseline", pump="Fountain")
    assert "--role: 'enginer' is no role; did you mean 'engineer'?" in refusal(
        site, "--accept-baseline", "--role", "enginer"
    )
    assert "--note needs --accept-baseline" in refusal(site, "--note", "seen")
    assert "has no pump 'Lap pool'" in refusal(site, pump="Lap pool")
