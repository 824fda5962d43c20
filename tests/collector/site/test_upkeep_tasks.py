"""Tasks of upkeep are taken as written, and refused in one line that says where and what."""

from __future__ import annotations

from pathlib import Path

import pytest

from collector.site import Site, SiteFileError, load_site, upkeep_of

SITE = '[site]\nname = "Harbour baths"\ntime_zone = "Europe/Lisbon"\n'
PUMPS = '[[pump]]\nname = "P01"\n[[pump]]\nname = "P02"\n'
GREASING = '[[upkeep]]\nkind = "greasing"\nevery_run_h = 4000\nevery_days = 365\n'


def load(folder: Path, tasks: str) -> Site:
    path = folder / "site.toml"
    path.write_text(SITE + PUMPS + tasks, encoding="utf-8")
    return load_site(path)


def refusal(folder: Path, tasks: str) -> str:
    with pytest.raises(SiteFileError) as caught:
        load(folder, tasks)
    return str(caught.value).removeprefix(str(folder / "site.toml"))


def test_without_tasks_nothing_is_due(tmp_path: Path) -> None:
    assert load(tmp_path, "").upkeep == ()


def test_a_task_without_pumps_is_for_all(tmp_path: Path) -> None:
    site = load(tmp_path, GREASING)
    assert [[task.every_run_h for task in upkeep_of(site.upkeep, name)] for name in ("P01", "P02")] == [
        [4000.0],
        [4000.0],
    ]


@pytest.mark.parametrize("own_first", [True, False])
def test_a_task_that_names_a_pump_goes_before_that_of_all(tmp_path: Path, own_first: bool) -> None:
    own = '[[upkeep]]\nkind = "greasing"\npumps = ["P02"]\nevery_days = 90\n'
    site = load(tmp_path, own + GREASING if own_first else GREASING + own)
    (of_first,), (of_second,) = (upkeep_of(site.upkeep, name) for name in ("P01", "P02"))
    assert (of_first.every_run_h, of_second.every_run_h, of_second.every_days) == (4000.0, None, 90.0)


def test_other_tasks_are_told_apart_by_their_names(tmp_path: Path) -> None:
    other = '[[upkeep]]\nkind = "other"\nname = "{}"\nevery_days = 30\n'
    site = load(tmp_path, other.format("Listen at the bearings") + other.format("Check the drip"))
    assert [task.name for task in upkeep_of(site.upkeep, "P01")] == [
        "Listen at the bearings",
        "Check the drip",
    ]


def test_bearings_may_be_written_in_inches(tmp_path: Path) -> None:
    bearings = 'bearings = [{ place = "drive end", outside_mm = "4 in", width_mm = 27 }]\n'
    (task,) = load(tmp_path, GREASING + bearings).upkeep
    assert (task.bearings[0].outside_mm, task.bearings[0].width_mm) == (pytest.approx(101.6), 27.0)


@pytest.mark.parametrize(
    ("tasks", "words"),
    [
        ('[[upkeep]]\nkind = "greasing"\n', "line 8: upkeep[1]: greasing needs an interval"),
        ('[[upkeep]]\nkind = "greasing"\nevery_run_h = 0\n', "line 10: upkeep[1].every_run_h: should be"),
        ('[[upkeep]]\nkind = "greasing"\nevery_hours = 9\n', "line 10: upkeep[1]: unknown key 'every_hours'"),
        ('[[upkeep]]\nkind = "greesing"\nevery_days = 9\n', "line 9: upkeep[1].kind: should be 'greasing', "),
        (
            '[[upkeep]]\nkind = "turning_by_hand"\nevery_days = 9\n',
            "line 8: upkeep[1]: turning_by_hand needs standing_days",
        ),
        (
            '[[upkeep]]\nkind = "turning_by_hand"\nstanding_days = 14\nevery_run_h = 9\n',
            "line 8: upkeep[1]: turning_by_hand needs standing_days",
        ),
        ('[[upkeep]]\nkind = "strainer"\nstanding_days = 9\n', "standing_days goes with turning_by_hand"),
        ('[[upkeep]]\nkind = "other"\nevery_days = 9\n', 'kind = "other" needs name'),
        ('[[upkeep]]\nkind = "strainer"\nname = "x"\nevery_days = 9\n', "the other kinds have none"),
        (
            '[[upkeep]]\nkind = "filter"\nevery_days = 9\nbearings = [{ outside_mm = 80, width_mm = 18 }]\n',
            "bearings go with greasing, not with filter",
        ),
        (
            '[[upkeep]]\nkind = "greasing"\npumps = ["P1"]\nevery_days = 9\n',
            "line 10: there is no pump 'P1'; did you mean 'P01'?",
        ),
        (GREASING + GREASING, "line 13: greasing stands there twice for all pumps"),
        (
            2 * '[[upkeep]]\nkind = "strainer"\npumps = ["P01"]\nevery_days = 9\n',
            "strainer stands there twice for pump 'P01'",
        ),
    ],
)  # fmt: skip
def test_a_task_that_cannot_be_meant_is_refused_in_one_line(tmp_path: Path, tasks: str, words: str) -> None:
    said = refusal(tmp_path, tasks)
    assert words in said
    assert "\n" not in said


def test_a_bearing_as_wide_as_it_is_high_is_refused(tmp_path: Path) -> None:
    said = refusal(tmp_path, GREASING + "bearings = [{ outside_mm = 18, width_mm = 80 }]\n")
    assert "a bearing is narrower than its outside diameter, not 18 x 80 mm" in said
