"""A person sees within seconds which pump is read and which is not, and is not flooded afterwards."""

from __future__ import annotations

from pathlib import Path

import pytest

from api.commands.poll_news import PollNews
from collector.reading import FailureKind, PollFailure, Reading
from collector.site import Bus, Pump, Site

NO_REPLY = "/dev/ttyUSB0: unit 2: no reply in 0.5 s"


def site(pumps: int) -> Site:
    return Site(
        name="Harbour baths", time_zone="UTC", path=Path("site.toml"),
        buses=(Bus(name="line", kind="serial", port="/dev/ttyUSB0"),),
        pumps=tuple(
            Pump(name=f"P{number}", bus="line", unit_id=number, register_map="map.toml")
            for number in range(1, pumps + 1)
        ),
    )  # fmt: skip


@pytest.fixture
def said() -> list[str]:
    return []


@pytest.fixture
def news(said: list[str]) -> PollNews:
    return PollNews(site(2), said.append)


def reading(pump: str) -> Reading:
    return Reading(pump=pump, time_utc_ms=0, speed_rpm=1450.0)


def failure(pump: str, sentence: str = NO_REPLY) -> PollFailure:
    return PollFailure(pump=pump, time_utc_ms=0, kind=FailureKind.NO_REPLY, sentence=sentence)


def test_the_first_result_of_each_pump_is_told(news: PollNews, said: list[str]) -> None:
    news.read([reading("P1")])
    news.failed([failure("P2")])
    assert said == ["P1 (unit 1 on line): is read", f"P2 (unit 2 on line): no reading yet: {NO_REPLY}"]


def test_what_goes_on_as_before_is_not_told_again(news: PollNews, said: list[str]) -> None:
    for _ in range(50):
        news.read([reading("P1"), reading("P1")])
        news.failed([failure("P2")])
    assert len(said) == 2


def test_one_missed_answer_is_no_news(news: PollNews, said: list[str]) -> None:
    for _ in range(50):
        news.read([reading("P1")])
        news.failed([failure("P1")])
    assert len(said) == 1


def test_a_pump_that_is_lost_and_comes_back_is_told_once_each(news: PollNews, said: list[str]) -> None:
    news.read([reading("P1")])
    for _ in range(9):
        news.failed([failure("P1")])
    for _ in range(9):
        news.read([reading("P1")])
    assert said[1:] == [f"P1 (unit 1 on line): lost: {NO_REPLY}", "P1 (unit 1 on line): is back again"]


def test_a_pump_that_answers_after_all_is_back(news: PollNews, said: list[str]) -> None:
    news.failed([failure("P2")])
    news.read([reading("P2")])
    assert said[1] == "P2 (unit 2 on line): is back again"


def test_many_pumps_behind_one_lost_port_share_a_line(said: list[str]) -> None:
    PollNews(site(40), said.append).failed([failure(f"P{number}", "no such port") for number in range(1, 41)])
    assert said == ["40 pumps (P1, P2, P3, P4, P5, P6, P7, P8 ...), each: no reading yet: no such port"]
