"""Work on a pump is recorded as it was said, refused in one line, and alone starts a new baseline."""

from __future__ import annotations

import argparse
import json
import re
import shutil
from pathlib import Path

import pytest

from api.analysis.site_pass import analyse_site
from api.analysis.write_result import read_mark
from api.analytics.curve import baseline_start_utc_ms
from api.answers.pages import services
from api.answers.service_log import CHANGES_THE_PUMP
from api.answers.source import Source
from api.commands import OK, Refusal, service_command
from dashboards.wording.terms import SERVICES

PUMP = "Lap pool 1"


def run(site: Path, *words: str, pump: str = PUMP) -> int:
    parser = argparse.ArgumentParser()
    service_command.add_arguments(parser)
    return service_command.run(parser.parse_args([pump, "--site", str(site), *words]))


@pytest.fixture
def site(analysed_folder: Path, tmp_path: Path) -> Path:
    shutil.copytree(analysed_folder, tmp_path / "site")
    return tmp_path / "site" / "site.toml"


def log(site: Path, capsys: pytest.CaptureFixture[str]) -> list[dict[str, object]]:
    capsys.readouterr()
    run(site, "--json")
    found: list[dict[str, object]] = json.loads(capsys.readouterr().out)
    return found


def test_work_is_listed_with_who_did_it_when_and_their_note(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run(site, "--what", "vented", "--at", "2026-07-01T10:00Z", "--note", "top of the riser")
    (entry,) = log(site, capsys)
    effect = entry.pop("effect")
    assert entry == {
        "number": 1,
        "pump": PUMP,
        "at_utc": "2026-07-01T10:00:00Z",
        "what": "vented",
        "new_baseline": False,
        "by_role": "technician",
        "note": "top of the riser",
        "finding_id": None,
        "taken_back_utc": None,
    }
    assert isinstance(effect, dict)
    assert set(effect["measured"]) == {"head", "power", "energy", "resistance"}


def test_a_new_baseline_that_was_forgotten_is_taken_afterwards_and_only_once(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ("--what", "impeller_changed", "--at", "2026-07-02T10:00Z")
    run(site, *words)
    run(site, *words, "--new-baseline")
    assert [each["new_baseline"] for each in log(site, capsys)] == [False, True]
    for again in (words, (*words, "--new-baseline")):
        with pytest.raises(Refusal, match="recorded already"):
            run(site, *again)


def test_work_that_nobody_knows_is_named_before_its_missing_time(site: Path) -> None:
    with pytest.raises(Refusal, match="did you mean 'vented'"):
        run(site, "--what", "ventd")


def test_a_mistyped_year_is_refused(site: Path) -> None:
    with pytest.raises(Refusal, match="before the year 2000"):
        run(site, "--what", "vented", "--at", "1990-07-01T10:00Z")


def test_the_list_in_words_has_a_line_for_each(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(site, "--what", "impeller_changed", "--at", "2026-07-02T10:00Z", "--new-baseline")
    run(site, "--what", "vented", "--at", "2026-07-01T10:00Z", "--role", "engineer")
    capsys.readouterr()
    assert run(site) == OK
    said = [line for line in capsys.readouterr().out.splitlines() if not line.startswith(" ")]
    assert said == [
        "2. 1 July 2026 11:00:00 WEST, vented (engineer)",
        "1. 2 July 2026 11:00:00 WEST, impeller changed, new baseline (technician)",
    ]


def test_a_mistaken_entry_is_taken_back_and_stays_in_the_log(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run(site, "--what", "vented", "--at", "2026-07-01T10:00Z")
    assert run(site, "--take-back", "1", "--note", "it was Lap pool 2") == OK
    assert "it stays in the log" in capsys.readouterr().out
    run(site)
    assert "    taken back by the technician: it was Lap pool 2" in capsys.readouterr().out
    (entry,) = log(site, capsys)
    assert entry["taken_back_utc"] is not None
    assert entry["effect"] is None


def test_the_same_work_may_be_recorded_again_once_it_was_taken_back(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ("--what", "vented", "--at", "2026-07-01T10:00Z")
    run(site, *words)
    run(site, "--take-back", "1", "--note", "hasty")
    assert run(site, *words) == OK


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--take-back", "1"], "--note: is missing"),
        (
            ["--take-back", "7", "--note", "x"],
            "--take-back: '7' is no entry of this pump that holds; there are: 1",
        ),
        (["--take-back", "one", "--note", "x"], "--take-back: 'one' is no entry"),
        (["--take-back", "1", "--note", "x", "--role", "boss"], "--role: 'boss' is no role"),
        (["--take-back", "1", "--what", "vented"], "give one of them"),
        (["--finding", "1"], "--finding needs --what"),
        (
            ["--what", "greased", "--at", "2026-07-02", "--finding", "999"],
            "--finding: '999' is no finding of this pump",
        ),
        (["--what", "greased", "--at", "2026-07-02", "--finding", "-1"], "--finding: '-1' is no finding"),
    ],
)
def test_what_cannot_be_taken_back_or_answered_is_refused_by_its_option(
    site: Path, words: list[str], sentence: str, capsys: pytest.CaptureFixture[str]
) -> None:
    run(site, "--what", "vented", "--at", "2026-07-01T10:00Z")
    with pytest.raises(Refusal, match=re.escape(sentence)):
        run(site, *words)
    assert [each["taken_back_utc"] for each in log(site, capsys)] == [None]


def test_a_curve_begun_by_a_mistaken_entry_is_left_and_the_one_before_counts_again(analysed: Source) -> None:
    words = ["--what", "impeller_changed", "--at", "2026-06-20T00:00Z", "--new-baseline"]
    run(analysed.site.path, *words)
    analyse_site(analysed.site, analysed.store, analysed.api_store, analysed.clock)
    run(analysed.site.path, "--take-back", "1", "--note", "another pump")
    analyse_site(analysed.site, analysed.store, analysed.api_store, analysed.clock)
    facts = analysed.facts(analysed.site.pump(PUMP))
    assert baseline_start_utc_ms(facts) == 0
    assert read_mark(analysed.api_store, PUMP).events == 0


def test_a_pump_nobody_worked_on_says_so(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(site) == OK
    assert capsys.readouterr().out == f"{PUMP}: no work was recorded\n"


def test_a_time_without_an_offset_is_the_sites_own(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(site, "--what", "greased", "--at", "2026-07-01T10:00")
    # Lisbon is an hour ahead of UTC in summer.
    assert log(site, capsys)[0]["at_utc"] == "2026-07-01T09:00:00Z"


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--what", "vented"], "--what needs --at"),
        (["--at", "2026-07-01T10:00Z"], "--at needs --what"),
        (["--new-baseline"], "--new-baseline needs --what"),
        (["--what", "vnted", "--at", "2026-07-01"], "did you mean 'vented'?"),
        (["--what", "vented", "--at", "yesterday"], "'yesterday' cannot be read"),
        (["--what", "vented", "--at", "2026-03-29T01:30"], "never was"),
        (["--what", "vented", "--at", "2099-01-01"], "still to come"),
        (["--what", "vented", "--at", "2026-07-01", "--role", "boss"], "--role: 'boss' is no role"),
        (["--what", "vented", "--at", "2026-07-01", "--note", "a\nb"], "--note: should be one line"),
        (["--what", "vented", "--at", "2026-07-01", "--note", "x" * 201], "at most 200 letters"),
    ],
)
def test_what_cannot_be_right_is_refused_in_one_line_and_nothing_is_recorded(
    site: Path, words: list[str], sentence: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(Refusal) as refusal:
        run(site, *words)
    assert sentence in str(refusal.value)
    assert "\n" not in str(refusal.value)
    assert log(site, capsys) == []


@pytest.mark.parametrize("what", sorted(set(SERVICES) - set(CHANGES_THE_PUMP)))
def test_work_that_leaves_the_pump_as_it_was_cannot_start_a_new_baseline(site: Path, what: str) -> None:
    with pytest.raises(Refusal, match="would hide a fault"):
        run(site, "--what", what, "--at", "2026-07-01", "--new-baseline")


@pytest.mark.parametrize("what", CHANGES_THE_PUMP)
def test_work_that_changes_the_pump_may(site: Path, what: str, capsys: pytest.CaptureFixture[str]) -> None:
    run(site, "--what", what, "--at", "2026-07-01", "--new-baseline")
    assert log(site, capsys)[0]["new_baseline"] is True


def test_the_same_work_twice_is_recorded_once(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(site, "--what", "vented", "--at", "2026-07-01T10:00Z")
    with pytest.raises(Refusal, match="recorded already"):
        run(site, "--what", "vented", "--at", "2026-07-01T10:00Z")
    assert len(log(site, capsys)) == 1


def test_a_pump_that_is_not_there_is_named_with_the_nearest(site: Path) -> None:
    with pytest.raises(Refusal, match="did you mean 'Lap pool 1'"):
        run(site, pump="Lap pol 1")


@pytest.mark.parametrize("is_new", [True, False])
def test_a_new_curve_is_learned_after_a_new_baseline_and_never_otherwise(
    analysed: Source, is_new: bool
) -> None:
    words = ["--what", "impeller_changed", "--at", "2026-06-20T00:00Z"]
    run(analysed.site.path, *words, *(["--new-baseline"] if is_new else []))
    analyse_site(analysed.site, analysed.store, analysed.api_store, analysed.clock)
    begins = 1_781_913_600_000
    assert (analysed.api_store.curve(PUMP, begins) is not None) is is_new
    assert analysed.api_store.curve(PUMP, 0) is not None


def test_the_pump_page_shows_the_note(analysed: Source) -> None:
    run(analysed.site.path, "--what", "vented", "--at", "2026-07-01T10:00Z", "--note", "top of the riser")
    assert services(analysed, analysed.site.pump(PUMP))[0].note == "top of the riser"
