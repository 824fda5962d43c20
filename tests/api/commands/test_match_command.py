"""``owncurve match``: a real process at a real pseudo-terminal or socket, and a session typed in."""

from __future__ import annotations

import json
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from collector.registers import load_register_map
from simulator.drives import Drive, RandomMap, random_drive_map
from simulator.lines import ModbusTcp, PacedLine, SerialPort

ROOT = Path(__file__).parents[3]
DUTIES = ((1.0, 1.0), (0.88, 0.8), (0.72, 1.05))
SEED = 3


def match(*words: str, typed: str = "") -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "api", "match", *words],
        capture_output=True, text=True, check=False, timeout=90, cwd=ROOT, input=typed,
    )  # fmt: skip


class Plant:
    """A drive with a table made by chance, on a line fast enough not to be waited for."""

    def __init__(self) -> None:
        self.table: RandomMap = random_drive_map(SEED)
        self.drive = Drive(1, self.table.map, turn_around_s=0.0)
        self.move(*DUTIES[0])

    def move(self, speed: float, flow: float) -> str:
        """Bring the pump to a duty; what its panel shows then."""
        values = self.table.values_at(speed, flow)
        self.drive.image = self.table.image_of(values)
        return ", ".join(self.table.panel_of(values).values())

    def wait_for_reads(self, count: int) -> None:
        """Wait until so many more requests were answered: the tech types slower than the line is."""
        until = self.drive.asked.total() + count
        for _ in range(600):
            if self.drive.asked.total() >= until:
                return
            time.sleep(0.05)
        raise AssertionError("nothing is read any more")


@contextmanager
def on_line(plant: Plant) -> Iterator[list[str]]:
    port = SerialPort(PacedLine({1: plant.drive}, 921_600))
    port.start()
    try:
        table = plant.table.truth["speed_rpm"].table
        yield [port.port, "--line", "115200 8E1", "--table", table, "--i-am-the-only-master"]
    finally:
        port.stop()


class Session:
    """``match`` as it is talked to: what it says is read in a thread, what is typed waits for its prompt."""

    def __init__(self, words: list[str]) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-m", "api", "match", *words],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=ROOT,
        )  # fmt: skip
        self.said = ""
        self._listener = threading.Thread(target=self._listen)
        self._listener.start()

    def _listen(self) -> None:
        assert self._process.stderr is not None
        while letter := self._process.stderr.read(1):
            self.said += letter

    def wait_for(self, words: str) -> None:
        for _ in range(1200):
            if words in self.said:
                return
            time.sleep(0.05)
        raise AssertionError(f"{words!r} was not said, but: {self.said}")

    def type(self, line: str) -> None:
        assert self._process.stdin is not None
        self._process.stdin.write(line + "\n")
        self._process.stdin.flush()

    def end(self) -> tuple[int, str]:
        assert self._process.stdout is not None
        assert self._process.stdin is not None
        self._process.stdin.close()
        out = self._process.stdout.read()
        self._process.stdout.close()
        code = self._process.wait(60)
        self._listener.join()
        assert self._process.stderr is not None
        self._process.stderr.close()
        return code, out


@pytest.fixture(scope="module")
def session(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Plant, int, str, str]:
    """A whole session: one mistyped line, three duties, and nothing to end it."""
    folder, plant = tmp_path_factory.mktemp("match"), Plant()
    with on_line(plant) as words:
        talk = Session([*words, "--record", str(folder / "s.toml"), "--write", str(folder / "map.toml")])
        talk.wait_for("1. panel as it stands now")
        talk.type("27,5 ft")
        talk.wait_for("'27,5 ft': write 27.5 ft")
        for number, duty in enumerate(DUTIES, 1):
            talk.wait_for(f"{number}. panel as it stands now")
            panel = plant.move(*duty)
            plant.wait_for_reads(40)
            talk.type(panel)
            talk.wait_for(f"After {number} sample")
        talk.wait_for("4. panel as it stands now")
        talk.type("")
        code, out = talk.end()
    return folder, plant, code, out, talk.said


Session_ = tuple[Path, Plant, int, str, str]


def test_a_session_ends_with_a_map_of_the_right_registers(session: Session_) -> None:
    folder, plant, code, _, said = session
    assert code == 0, said
    points = {point.quantity.name: point for point in load_register_map(folder / "map.toml").points}
    true = plant.table.truth
    assert set(points) == set(true)
    for name, point in points.items():
        ends = {true[name].address, true[name].address + true[name].words - 1}
        assert point.table == true[name].table
        # Of a 32-bit value whose upper register stays 0 the lower one alone reads the same.
        assert point.address in ends


def test_each_sample_is_told_and_each_answer_says_how_sure_it_is(session: Session_) -> None:
    _, _, _, out, said = session
    assert out.startswith("After 3 samples:\n  speed ")
    assert ": sure (over 99.9 %)" in out
    assert "change the speed by 10 %, and read again" in said
    assert "owncurve: looking at 256 addresses of 1 table: 522 requests and about " in said
    assert "never writes" in said


def test_nothing_but_register_reads_reached_the_drive(session: Session_) -> None:
    _, plant, _, _, _ = session
    assert set(plant.drive.asked) <= {3, 4}


def test_recorded_samples_say_the_same_again_without_the_drive(session: Session_) -> None:
    folder, _, _, out, _ = session
    assert match("--samples", str(folder / "s.toml")).stdout == out


def test_json_holds_the_registers(session: Session_) -> None:
    folder, plant, _, _, _ = session
    told = json.loads(match("--samples", str(folder / "s.toml"), "--json").stdout)
    speed = told["answers"][0]
    assert (told["samples"], speed["quantity"], speed["sureness"]) == (3, "speed_rpm", "sure")
    assert speed["register"]["table"] == plant.table.truth["speed_rpm"].table


def test_a_sample_can_be_taken_without_a_question_and_what_is_only_likely_is_not_complete(
    session: Session_, tmp_path: Path
) -> None:
    # One sample of the session, and one more by --panel: two agree by chance too often to be sure.
    folder, plant, *_ = session
    file, written = tmp_path / "s.toml", tmp_path / "map.toml"
    with on_line(plant) as words:
        keep = first_samples(folder / "s.toml", 1).replace(read_from_of(folder / "s.toml"), place_of(words))
        file.write_text(keep, encoding="utf-8")
        done = match(
            *words, "--panel", plant.move(*DUTIES[1]), "--record", str(file), "--write", str(written)
        )
    assert "After 2 samples" in done.stdout
    assert (done.returncode, written.exists()) == (1, False), done.stdout + done.stderr
    assert "nothing is sure yet, so no map is written: take another sample, or --accept-likely" in done.stderr


def test_likely_registers_are_written_and_enough_where_they_are_accepted(
    session: Session_, tmp_path: Path
) -> None:
    folder, *_ = session
    file, written = tmp_path / "s.toml", tmp_path / "map.toml"
    file.write_text(first_samples(folder / "s.toml", 2), encoding="utf-8")
    unasked = match("--samples", str(file))
    assert unasked.returncode == 1
    last = unasked.stderr.splitlines()[-1]
    assert last.startswith("owncurve: not complete yet; likely, not sure: ")
    assert "Next, for the " in last
    assert last.endswith("(--accept-likely takes what is likely)")
    accepted = match("--samples", str(file), "--accept-likely", "--write", str(written))
    assert accepted.returncode == 0, accepted.stderr
    assert len(load_register_map(written).points) == 4


def test_samples_of_another_drive_are_refused(session: Session_) -> None:
    folder, *_ = session
    done = match("/dev/none", "--unit", "7", "--samples", str(folder / "s.toml"), "--panel", "3 rpm")
    assert done.returncode == 2
    assert "unit 1, and this is /dev/none, 19200 8E1, unit 7: one map is of one drive" in done.stderr


def test_one_file_by_two_paths_is_refused(session: Session_, tmp_path: Path) -> None:
    folder, *_ = session
    (tmp_path / "link.toml").symlink_to(folder / "s.toml")
    done = match("--samples", str(folder / "s.toml"), "--record", str(tmp_path / "link.toml"))
    assert (done.returncode, "--samples and --record are one file" in done.stderr) == (2, True)


def first_samples(file: Path, count: int) -> str:
    return "[[sample]]".join(file.read_text(encoding="utf-8").split("[[sample]]")[: count + 1])


def read_from_of(file: Path) -> str:
    (*_, read_from) = [line for line in file.read_text(encoding="utf-8").splitlines() if "read_from" in line]
    return read_from


def place_of(words: list[str]) -> str:
    return f'read_from = "{words[0]}, 115200 8E1, unit 1"'


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        ([], 2, "say where the drive is"),
        (["plant-gw"], 2, "--kind tcp or --kind rtu_over_tcp"),
        (["/dev/none", "--line", "19200 8X1"], 2, "--line: "),
        (["/dev/none", "--unit", "300"], 2, "1 to 247, not 300"),
        (["/dev/none", "--addresses", "9-3"], 2, "--addresses should be FIRST-LAST"),
        (["/dev/none", "--panel", "3 rpm"], 3, "/dev/none"),
        (["/dev/none", "--panel", "27,5 ft"], 2, "--panel: '27,5 ft': write 27.5 ft"),
        (["--samples", "nowhere.toml"], 2, "nowhere.toml: cannot be read"),
        (["--samples", "s.toml", "--rated-speed", "0"], 2, "--rated-speed should be above 0"),
        (
            ["--samples", "s.toml", "--write", "README.md"],
            2,
            "README.md is there already; --force replaces it",
        ),
        (
            ["--samples", "s.toml", "--write", "no/such/map.toml"],
            2,
            "no/such/map.toml: there is no folder no/such",
        ),
    ],
)
def test_what_cannot_be_done_is_one_line(words: list[str], code: int, said: str) -> None:
    done = match(*words)
    last = done.stderr.strip().splitlines()[-1]
    assert (done.returncode, said in last, "Traceback" in done.stderr) == (code, True, False), done.stderr


def test_a_drive_behind_a_network_gateway_is_read_as_well() -> None:
    plant = Plant()
    gateway = ModbusTcp({1: plant.drive})
    gateway.start()
    try:
        words = [f"127.0.0.1:{gateway.port}", "--kind", "tcp", "--panel", plant.move(1.0, 1.0)]
        done = match(*words, "--addresses", "100-255")
    finally:
        gateway.stop()
    assert "After 1 sample:" in done.stdout
    assert "hardly moved so far" in done.stdout


def test_a_drive_without_registers_in_the_range_is_one_line() -> None:
    plant = Plant()
    with on_line(plant) as words:
        listening = [word for word in words if word != "--i-am-the-only-master"]
        done = match(*listening, "--listen", "2", "--addresses", "900-910", "--panel", "3 rpm")
    assert (done.returncode, "unit 1 answers, but has no" in done.stderr) == (1, True)
    assert done.stderr.index("listening for 2 s") < done.stderr.index("looking at 11 addresses")
