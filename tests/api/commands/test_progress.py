"""What a long command shows: one line on a terminal, and nothing that spoils a log."""

from __future__ import annotations

import io

import pytest

from api.commands.progress import REDRAW_S, ProgressLine


class Terminal(io.StringIO):
    """Text that says it is a terminal, and what a person sees of it."""

    def isatty(self) -> bool:
        return True

    def seen(self) -> list[str]:
        """Return the lines as a terminal shows them: a carriage return begins the line again."""
        shown = []
        for line in self.getvalue().split("\n"):
            cells: list[str] = []
            for piece in line.split("\r"):
                cells[: len(piece)] = piece
            shown.append("".join(cells).rstrip())
        return shown


class Clock:
    """A clock that stands still until it is set on."""

    now_s = 100.0

    def __call__(self) -> float:
        return self.now_s


@pytest.fixture
def clock() -> Clock:
    return Clock()


def shown(clock: Clock, *words: str) -> list[str]:
    """Return what is seen after these words, each shown when the line may be drawn again."""
    terminal = Terminal()
    line = ProgressLine(out=terminal, clock_s=clock)
    for each in words:
        line(each)
        clock.now_s += REDRAW_S
    return terminal.seen()


def test_the_last_words_alone_are_seen(clock: Clock) -> None:
    assert shown(clock, "3 of 40") == ["3 of 40"]
    assert shown(clock, "unit 3 of 40 is asked", "done") == ["done"]


def test_nothing_is_left_when_the_command_goes_on(clock: Clock) -> None:
    terminal = Terminal()
    with ProgressLine(out=terminal, clock_s=clock) as line:
        line("half of it")
        assert terminal.seen() == ["half of it"]
    assert terminal.seen() == [""]


def test_nothing_is_left_when_the_command_fails(clock: Clock) -> None:
    terminal = Terminal()
    line = ProgressLine(out=terminal, clock_s=clock)

    def fail() -> None:
        with line:
            line("half of it")
            raise OSError("lost")

    with pytest.raises(OSError, match="lost"):
        fail()
    assert terminal.seen() == [""]


def test_a_line_that_stays_stands_above_and_is_not_mixed_with_what_was_drawn(clock: Clock) -> None:
    terminal = Terminal()
    line = ProgressLine(out=terminal, clock_s=clock)
    line("a long line about unit 3")
    line.say("unit 3 answers")
    clock.now_s += REDRAW_S
    line("unit 4")
    assert terminal.seen() == ["owncurve: unit 3 answers", "unit 4"]


def test_a_line_never_wraps(clock: Clock, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "20")
    assert shown(clock, "x" * 50) == ["x" * 19]


def test_a_terminal_is_not_flooded(clock: Clock) -> None:
    terminal = Terminal()
    line = ProgressLine(out=terminal, clock_s=clock)
    for number in range(1000):
        line(f"{number} of 1000")
    assert terminal.seen() == ["0 of 1000"]


def test_without_a_terminal_nothing_is_written(clock: Clock) -> None:
    log = io.StringIO()
    with ProgressLine(out=log, clock_s=clock) as line:
        line("half of it")
    assert log.getvalue() == ""


def test_a_log_may_have_a_line_now_and_then(clock: Clock) -> None:
    log = io.StringIO()
    with ProgressLine(line_every_s=60.0, out=log, clock_s=clock) as line:
        for second in range(130):
            line(f"{second} s read")
            clock.now_s += 1.0
    assert log.getvalue() == "owncurve: 60 s read\nowncurve: 120 s read\n"


def test_it_writes_to_standard_error_and_leaves_the_data_alone(capsys: pytest.CaptureFixture[str]) -> None:
    with ProgressLine() as line:
        line.say("unit 3 answers")
    assert capsys.readouterr() == ("", "owncurve: unit 3 answers\n")
