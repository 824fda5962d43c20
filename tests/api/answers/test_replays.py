"""``owncurve analyse --replay``: what would have been said when, and thresholds side by side."""

from __future__ import annotations

import argparse
import json
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any, Protocol

import pytest

from api.analysis.replay import Said
from api.analysis.site_pass import analyse_site
from api.analytics.finding import Cause, Evidence, Finding, Kind, Priority
from api.answers.replays import as_stored
from api.answers.source import Source
from api.commands import OK, Refusal, analyse_command
from api.commands.replay_words import told_line
from api.store.stored_finding import State, StoredFinding
from collector.store import Store

HEALTHY, WORN, ESTIMATED, EMPTY = "Lap pool 1", "Lap <b>pool</b> 2", "Hot tub", "Fountain"


class Fills(Protocol):
    """The makers of the small site's readings: 288 rows a day."""

    def fill(self, store: Store, first_row: int, rows: int) -> None: ...


def run(site: Path, *words: str) -> int:
    parser = argparse.ArgumentParser()
    analyse_command.add_arguments(parser)
    return analyse_command.run(parser.parse_args(["--site", str(site), *words]))


@pytest.fixture
def site(analysed_folder: Path, tmp_path: Path) -> Path:
    shutil.copytree(analysed_folder, tmp_path / "site")
    return tmp_path / "site" / "site.toml"


def replay(site: Path, capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, Any]:
    assert run(site, "--replay", "--json", *words) == OK
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


def test_the_loss_is_told_with_the_day_it_was_raised_the_day_it_began_and_its_size_then(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    said = replay(site, capsys, "--pump", WORN)["pumps"][0]["said"]
    loss = said[-1]
    assert loss["kind"] == "head_loss"
    # The loss of 6 % was put in on 2 July 2026, the 31st day from 1 June.
    assert "2026-07-03" <= loss["raised_utc"][:10] <= "2026-07-05"
    assert loss["effect"] < 0
    # After a single day it may still be taken for the beginning of a slow loss; by now it is what it is.
    assert loss["newest_first_utc"].startswith("2026-07-02")
    assert loss["newest_effect"] == pytest.approx(-0.06, abs=0.005)


def test_each_threshold_stands_with_its_delay_trials_and_false_alarms(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = replay(site, capsys)["thresholds"]
    assert {row["notice_pct"] for row in rows} >= {0.5, 2.0}
    assert {row["evidence_sd"] for row in rows} >= {3.5, 7.0}
    assert all(row["false_alarms_a_pump_year_high"] > row["false_alarms_a_pump_year"] for row in rows)


def test_pumps_in_which_wear_cannot_be_seen_promise_nothing(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    pumps = {each["pump"]: each for each in replay(site, capsys)["pumps"]}
    assert [pumps[name]["can_be_judged"] for name in (HEALTHY, ESTIMATED, EMPTY)] == [True, False, False]
    assert pumps[ESTIMATED]["thresholds"] == []


def test_a_longer_quiet_history_bounds_false_alarms_more_closely(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    both = replay(site, capsys)["thresholds"][0]
    one = replay(site, capsys, "--pump", HEALTHY)["thresholds"][0]
    assert both["pump_years"] > one["pump_years"]
    assert both["false_alarms_a_pump_year_high"] < one["false_alarms_a_pump_year_high"]


def test_in_words_it_names_the_day_and_marks_what_is_set(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(site, "--replay", "--loss", "5") == OK
    text = capsys.readouterr().out
    assert "July: Head below its own curve (" in text
    assert ": Head at the same flow and speed is 6." in text.replace("5.9", "6.0").split("Last told on ")[1]
    assert "a loss of 5.0\N{NO-BREAK SPACE}% of head" in text
    assert len([line for line in text.splitlines() if line.startswith("* 0.8 ")]) == 1


def test_a_fault_code_is_told_as_it_was_known_on_its_day_with_the_manuals_meaning(
    analysed: Source, monkeypatch: pytest.MonkeyPatch
) -> None:
    """404 times is what November knew; the first day knew one, and what the manual says of it."""
    facts = analysed.facts(analysed.site.pump(HEALTHY))
    meant = replace(facts, fault_meanings={21: "Motor current above its limit\nLook at the supply"})
    monkeypatch.setattr(Source, "facts", lambda _self, _pump: meant)
    fault = Finding(
        pump=HEALTHY,
        kind=Kind.DRIVE_FAULT,
        priority=Priority.URGENT,
        first_utc_ms=1_782_000_000_000,
        last_utc_ms=1_783_000_000_000,
        active=False,
        effect=21.0,
        effect_unit="1",
        evidence=(Evidence(name="episodes", value=404.0),),
        causes=(Cause(names=("as_the_manual_says",), weight=1.0),),
    )
    said = as_stored(StoredFinding(finding_id=1, finding=fault, state=State.RETURNED_TO_NORMAL))
    line = told_line(analysed, said)
    first, later = line.split(" Last told on ")
    assert "404" not in first
    assert "Its manual says: “Motor current above its limit”" in first
    assert "404 times" in later


def fast(kind: Kind, effect: float | None, unit: str) -> Said:
    finding = Finding(
        pump=HEALTHY,
        kind=kind,
        priority=Priority.SOON,
        first_utc_ms=1_782_000_000_000,
        last_utc_ms=1_782_010_800_000,
        active=False,
        effect=effect,
        effect_unit=unit,
    )
    return as_stored(StoredFinding(finding_id=1, finding=finding, state=State.RETURNED_TO_NORMAL))


def test_a_burst_has_no_length_yet_when_it_is_first_told(analysed: Source) -> None:
    first, later = told_line(analysed, fast(Kind.AIR_BINDING, -0.3, "fraction")).split(" Last told on ")
    assert "In a burst, head or power fell by 30" in first
    assert "0 s" not in first
    assert "In one burst of 3 h" in later


def test_how_long_readings_would_stand_still_was_not_known_when_it_was_first_told(analysed: Source) -> None:
    first, later = told_line(analysed, fast(Kind.FROZEN_READING, 53.0, "h")).split(" Last told on ")
    assert "in all" not in first
    assert "2 days in all" in later


def test_when_a_pump_had_learned_its_curve_stands_behind_what_was_told_of_it(analysed: Source) -> None:
    said = fast(Kind.NOT_ASSESSABLE, None, "1")
    again = replace(said.finding, active=True)
    learning = replace(said, newest=replace(again, last_utc_ms=said.raised_utc_ms + 21 * 86_400_000))
    assert "Told until 12\N{NO-BREAK SPACE}July." in told_line(analysed, replace(learning, finding=again))


def test_where_no_loss_could_be_tried_no_table_pretends_to_show_any(
    new_site: Callable[[str], Source], small_site: Fills, capsys: pytest.CaptureFixture[str]
) -> None:
    source = new_site("short")
    small_site.fill(source.store, 0, 24 * 288)
    analyse_site(source.site, source.store, source.api_store, source.clock)
    assert run(source.site.path, "--replay", "--pump", HEALTHY) == OK
    text = capsys.readouterr().out
    assert "too short to try a loss in" in text
    assert "0/0" not in text


def test_a_site_in_which_no_wear_can_be_seen_says_so(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(site, "--replay", "--pump", ESTIMATED) == OK
    assert "no loss can be tried" in capsys.readouterr().out


def test_a_pump_without_readings_says_nothing(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(site, "--replay", "--pump", EMPTY) == OK
    assert "nothing would have been said" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--replay", "--follow", "5"], "one of the two"),
        (["--loss", "3"], "go with --replay"),
        (["--pump", HEALTHY], "go with --replay"),
        (["--replay", "--loss", "0"], "0.5 to 20"),
        (["--replay", "--loss", "nan"], "0.5 to 20"),
        (["--replay", "--pump", "Lap pool 9"], "did you mean 'Lap pool 1'"),
    ],
)
def test_what_cannot_be_asked_is_refused_in_one_line(site: Path, words: list[str], sentence: str) -> None:
    with pytest.raises(Refusal) as refusal:
        run(site, *words)
    assert sentence in str(refusal.value)
    assert "\n" not in str(refusal.value)
