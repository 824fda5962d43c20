"""``owncurve check`` on a real pseudo-terminal with simulated drives, and on what is stored.

The line and its drives are the simulator's, in a process of its own; only their port is shared.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from api.commands import main
from collector.bus.read_only_bus import ReadOnlyBus
from collector.poll import claim_site
from collector.reading import Reading
from collector.site import load_site
from collector.store import open_store

if sys.platform == "win32":
    pytest.skip("there is no pseudo-terminal on Windows", allow_module_level=True)

ROOT = Path(__file__).parents[3]
SITE = """[site]
name = "Harbour baths"
time_zone = "Europe/Lisbon"
[[bus]]
name = "line"
kind = "serial"
port = "{port}"
baud = 115200
timeout_s = 2
{bus}
[[pump]]
name = "P11"
bus = "line"
unit_id = 11
register_map = "map.toml"
rated_speed_rpm = 2900
rated_power_w = 1500
"""


@pytest.fixture(scope="module")
def port() -> Iterator[str]:
    """Return the port of a line with one drive of map A that runs, paced at 115200 baud."""
    words = ["-m", "simulator", "line", "--baud", "115200", "--units", "11:A"]
    with subprocess.Popen(
        [sys.executable, *words], cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as line:
        assert line.stdout is not None
        yield str(json.loads(line.stdout.readline())["port"])
        line.terminate()
        line.communicate(timeout=20)


def site_of(folder: Path, port: str, *, bus: str = "", wrong: tuple[str, str] = ("", "")) -> Path:
    right = (ROOT / "api/demo/maps/a.toml").read_text(encoding="utf-8")
    (folder / "map.toml").write_text(right.replace(*wrong), encoding="utf-8")
    (folder / "site.toml").write_text(SITE.format(port=port, bus=bus), encoding="utf-8")
    return folder / "site.toml"


def check(site: Path, capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, list[dict[str, Any]]]:
    code = main(["check", "--site", str(site), "--json", "--i-am-the-only-master", *words])
    return code, json.loads(capsys.readouterr().out)


def proofs(told: list[dict[str, Any]]) -> dict[str, dict[str, Any]]:
    return {name: proof for proof in told[0]["proofs"] for name in proof["values"]}


CHANNELS = ("speed_rpm", "power_w", "flow_m3h", "head_m")


def verdicts(told: list[dict[str, Any]]) -> dict[str, str]:
    return {name: proofs(told)[name]["verdict"] for name in CHANNELS}


def panel_of(told: list[dict[str, Any]]) -> str:
    """Return flow and head as the drive's panel shows them: in the units of map A, m3/h and m."""
    shown = [proofs(told)[name]["sentence"].split(",")[0].split(";")[0] for name in ("flow_m3h", "head_m")]
    return ", ".join(" ".join(each.split(" ")[:2]) for each in shown).replace("m³/h", "m3/h")


def test_energy_alone_proves_no_unit_of_flow_and_head_and_what_the_panel_shows_does(
    tmp_path: Path, port: str, capsys: pytest.CaptureFixture[str]
) -> None:
    site = site_of(tmp_path, port)
    code, told = check(site, capsys)
    assert (code, verdicts(told)["flow_m3h"], verdicts(told)["head_m"]) == (1, "open", "open")
    code, shown = check(site, capsys, "--panel", panel_of(told))
    assert (code, set(verdicts(shown).values())) == (0, {"holds"}), shown
    assert not list(tmp_path.glob("*.sqlite"))


def test_a_panel_that_shows_another_unit_names_it(
    tmp_path: Path, port: str, capsys: pytest.CaptureFixture[str]
) -> None:
    site = site_of(tmp_path, port)
    panel = panel_of(check(site, capsys)[1]).replace("m3/h", "gpm")
    code, told = check(site, capsys, "--panel", panel)
    assert code == 1
    assert proofs(told)["flow_m3h"]["changes"][0]["to"] == '"gpm"'


def test_what_the_panel_shows_of_a_quantity_without_a_register_is_said_to_be_unused(
    tmp_path: Path, port: str, capsys: pytest.CaptureFixture[str]
) -> None:
    site = site_of(tmp_path, port)
    lines = (tmp_path / "map.toml").read_text(encoding="utf-8").splitlines()
    kept = [line for line in lines if not line.startswith("current_a")]
    (tmp_path / "map.toml").write_text("\n".join(kept), encoding="utf-8")
    _, told = check(site, capsys, "--panel", "1.5 A")
    assert any("1.5 A was not held against anything" in note for note in told[0]["notes"])


def test_a_panel_belongs_to_one_pump(tmp_path: Path, port: str, capsys: pytest.CaptureFixture[str]) -> None:
    site = site_of(tmp_path, port)
    text = site.read_text(encoding="utf-8")
    pump = text[text.index("[[pump]]") :].replace("P11", "P12").replace("unit_id = 11", "unit_id = 12")
    site.write_text(f"{text}\n{pump}", encoding="utf-8")
    assert main(["check", "--site", str(site), "--panel", "20 m3/h"]) == 2
    assert "say which with --pump" in capsys.readouterr().err


def test_a_wrong_unit_is_named_by_its_line(
    tmp_path: Path, port: str, capsys: pytest.CaptureFixture[str]
) -> None:
    site = site_of(tmp_path, port, wrong=('unit = "m", no_value', 'unit = "bar", no_value'))
    code, told = check(site, capsys)
    line = next(
        n
        for n, text in enumerate((tmp_path / "map.toml").read_text(encoding="utf-8").splitlines(), 1)
        if "head_m" in text
    )
    named = {(change["place"], change["to"]) for change in proofs(told)["head_m"]["changes"]}
    assert code == 1
    assert (f"{tmp_path / 'map.toml'}, line {line}", '"m"') in named


def test_addresses_counted_from_the_wrong_end_are_told_once_for_the_whole_map(
    tmp_path: Path, port: str, capsys: pytest.CaptureFixture[str]
) -> None:
    code, told = check(site_of(tmp_path, port, wrong=('"one-based"', '"zero-based"')), capsys)
    changes = [change for proof in told[0]["proofs"] for change in proof["changes"]]
    assert (code, [(change["key"], change["to"]) for change in changes]) == (
        1,
        [("addresses", '"one-based"')],
    )


def test_reading_on_proves_by_many_looks(
    tmp_path: Path, port: str, capsys: pytest.CaptureFixture[str]
) -> None:
    _, told = check(site_of(tmp_path, port, bus="interval_s = 0.2"), capsys, "--minutes", "0.03")
    assert "times on line, unit 11" in told[0]["how"]


def test_a_drive_that_is_silent_is_bus_trouble(
    tmp_path: Path, port: str, capsys: pytest.CaptureFixture[str]
) -> None:
    site = site_of(tmp_path, port)
    text = site.read_text(encoding="utf-8").replace("timeout_s = 2", "timeout_s = 0.2")
    site.write_text(text.replace("unit_id = 11", "unit_id = 12"), encoding="utf-8")
    code, told = check(site, capsys)
    assert (code, told[0]["proofs"]) == (3, [])
    assert "unit 12" in told[0]["trouble"]


def reading(time_utc_ms: int, flow_m3h: float = 20.0) -> Reading:
    return Reading(
        pump="P11", time_utc_ms=time_utc_ms, speed_rpm=2600.0, power_w=1000.0, flow_m3h=flow_m3h, head_m=10.0
    )


def stored(site: Path, rows: int = 60) -> None:
    """Store ten minutes of readings that a poller took by the site's files as they stand."""
    began_s = time.time() - 3600
    for path in (site, site.with_name("map.toml"), site.with_name("site.sqlite.polling")):
        path.touch()
        os.utime(path, (began_s, began_s))
    store = open_store(load_site(site).database_url)
    now_ms = int(time.time() * 1000)
    store.append([reading(now_ms - 10_000 * place) for place in range(rows)])
    store.close()


def no_words_to_drives(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise AssertionError("a drive was asked")

    monkeypatch.setattr(ReadOnlyBus, "connect", refuse)
    monkeypatch.setattr(ReadOnlyBus, "_ask", refuse)


def test_while_another_process_polls_what_it_stored_is_checked_and_no_drive_asked(
    tmp_path: Path, port: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    site = site_of(tmp_path, port)
    no_words_to_drives(monkeypatch)
    with claim_site(load_site(site), tmp_path / "site.sqlite"):
        stored(site)
        code, told = check(site, capsys)
    assert (code, verdicts(told)["speed_rpm"]) == (1, "holds")
    assert "stored readings" in told[0]["how"]
    assert "already being polled" in told[0]["how"]


def test_on_a_bus_that_is_only_listened_to_nobody_is_asked(
    tmp_path: Path, port: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    site = site_of(tmp_path, port, bus="listen_only = true")
    no_words_to_drives(monkeypatch)
    code, told = check(site, capsys)
    assert (code, "only listened to" in told[0]["trouble"]) == (3, True)
    stored(site)
    _, told = check(site, capsys, "--panel", "20.0 m3/h, 10.0 m")
    assert set(verdicts(told).values()) == {"holds"}


@pytest.mark.parametrize("edited", ["map.toml", "site.toml"])
def test_readings_that_are_older_than_the_map_or_the_site_file_prove_nothing_of_it(
    tmp_path: Path, port: str, capsys: pytest.CaptureFixture[str], edited: str
) -> None:
    site = site_of(tmp_path, port, bus="listen_only = true")
    stored(site)
    (tmp_path / edited).touch()
    code, told = check(site, capsys)
    (proof,) = told[0]["proofs"]
    assert (code, proof["verdict"]) == (1, "open")
    assert f"{edited} was changed after these readings" in proof["sentence"]


def test_readings_of_a_poller_that_began_before_the_map_was_changed_prove_nothing_of_it(
    tmp_path: Path, port: str, capsys: pytest.CaptureFixture[str]
) -> None:
    site = site_of(tmp_path, port, bus="listen_only = true")
    stored(site)
    changed_s = time.time() - 1800
    os.utime(tmp_path / "map.toml", (changed_s, changed_s))
    assert "prove nothing" in check(site, capsys)[1][0]["proofs"][0]["sentence"]
    (tmp_path / "site.sqlite.polling").touch()
    store = open_store(load_site(site).database_url)
    store.append([reading(int(time.time() * 1000) + 1000)])
    store.close()
    assert verdicts(check(site, capsys)[1])["speed_rpm"] == "holds"


def test_an_unfinished_pump_is_told_what_comes_next(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    site = tmp_path / "site.toml"
    site.write_text('[site]\nname = "s"\ntime_zone = "UTC"\n[[pump]]\nname = "P03"\n', encoding="utf-8")
    code, told = check(site, capsys)
    sentence = proofs(told)["register_map"]["sentence"]
    assert (code, sentence.startswith("P03 has no register map yet")) == (1, True)
    assert f"{site}, line 5" in sentence


def test_a_map_that_is_not_there_is_one_line_with_what_writes_it(
    tmp_path: Path, port: str, capsys: pytest.CaptureFixture[str]
) -> None:
    site = site_of(tmp_path, port)
    (tmp_path / "map.toml").unlink()
    assert main(["check", "--site", str(site)]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert "there is no file" in line
    assert line.endswith("owncurve match or owncurve registers writes a register map")


def test_imports_in_a_wrong_unit_are_told_though_there_is_no_map(
    tmp_path: Path, port: str, capsys: pytest.CaptureFixture[str]
) -> None:
    site = site_of(tmp_path, port)
    lines = site.read_text(encoding="utf-8").splitlines()
    kept = [line for line in lines if not line.startswith(("bus =", "unit_id", "register_map"))]
    site.write_text("\n".join(kept), encoding="utf-8")
    stored(site)
    assert {"change"}.isdisjoint(verdicts(check(site, capsys)[1]).values())
    store = open_store(load_site(site).database_url)
    now_ms = int(time.time() * 1000)
    store.append([reading(now_ms + place, flow_m3h=88.0) for place in range(90)])
    store.close()
    code, told = check(site, capsys)
    assert (code, '"gpm"' in {change["to"] for change in proofs(told)["flow_m3h"]["changes"]}) == (1, True)


def test_ctrl_c_after_a_while_of_reading_tells_what_was_proven_until_then(tmp_path: Path, port: str) -> None:
    site = site_of(tmp_path, port, bus="interval_s = 0.2")
    words = ["check", "--site", str(site), "--i-am-the-only-master", "--json", "--minutes", "10"]
    with subprocess.Popen(
        [sys.executable, "-m", "api", *words],
        cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    ) as checking:  # fmt: skip
        assert checking.stderr is not None
        while "reading for 10 minutes" not in checking.stderr.readline():
            assert checking.poll() is None
        time.sleep(2)
        checking.send_signal(signal.SIGINT)
        told, said = checking.communicate(timeout=20)
    assert checking.returncode == 130
    assert "stopped" in said
    assert verdicts(json.loads(told))["speed_rpm"] == "holds"
