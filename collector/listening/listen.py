"""Listening for a while: the setting first if it is not known, then what the line looks like."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from typing import Final

from collector.bus.line_setting import LineSetting
from collector.listening.ear import LineEar
from collector.listening.exchanges import Event
from collector.listening.picture import LinePicture, PictureTaker
from collector.listening.port import ListeningPort, PortTrouble, SettingRefused, open_listening_port
from collector.listening.setting_finder import News, SettingFinder

LOOK_S: Final = 0.1
LEAST_PICTURE_S: Final = 3.0
"""Even when the search took nearly all the time: a setting alone says nothing of who is on the line."""

Heard = Callable[[Sequence[Event]], None]


def listen(
    port: str,
    setting: LineSetting | None,
    seconds: float,
    stop: threading.Event,
    news: News = lambda _: None,
    heard: Heard = lambda _: None,
) -> LinePicture:
    """Listen at a port for so long [s], or until stop; no byte is sent.

    Without a setting it is found first, from the same time (a few seconds are left in any case). ``news``
    gets a sentence now and then, ``heard`` the events as they come.

    Raises
    ------
    PortTrouble
        In one sentence, when the port cannot be opened, does not take the setting, or is lost.
    """
    opened = open_listening_port(port)
    try:
        return listen_at(opened, setting, seconds, stop, news, heard)
    finally:
        opened.close()


def listen_at(
    port: ListeningPort,
    setting: LineSetting | None,
    seconds: float,
    stop: threading.Event,
    news: News = lambda _: None,
    heard: Heard = lambda _: None,
) -> LinePicture:
    """Listen at an open port: see :func:`listen`."""
    begun_s = port.read(0).time_s
    until_s = begun_s + seconds
    doubt = ""
    if setting is None:
        finder = SettingFinder(port, until_s, stop, news)
        found = finder.find()
        if found is None:
            listened_s = port.read(0).time_s - begun_s
            return LinePicture(
                setting=None, setting_is_sure=False, seconds=listened_s, bytes_heard=finder.bytes_heard
            )
        setting, doubt = found.setting, found.doubt
        until_s = max(until_s, port.read(0).time_s + min(LEAST_PICTURE_S, seconds))
        news(f"frames are heard at {setting.words}")
    try:
        ear = LineEar(port, setting)
    except SettingRefused as error:
        raise PortTrouble(str(error)) from error
    return _picture(ear, until_s, stop, heard, doubt)


def _picture(ear: LineEar, until_s: float, stop: threading.Event, heard: Heard, doubt: str) -> LinePicture:
    taker = PictureTaker(ear.setting)
    begun_s = None
    while not stop.is_set() and ear.now_s < until_s:
        events = ear.hear(LOOK_S)
        begun_s = ear.begun_s
        taker.take(events)
        if events:
            heard(events)
    return taker.picture(
        seconds=ear.now_s - begun_s if begun_s is not None else 0.0,
        bytes_heard=ear.bytes_heard,
        bad_characters=ear.bad_characters,
        doubt=doubt,
    )
