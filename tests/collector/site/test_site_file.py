from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from collector.site import Site, SiteFileError, load_site

SITE = '[site]\nname = "Harbour baths"\ntime_zone = "Europe/Lisbon"\nunits = "SI"\n'
BUS = '[[bus]]\nname = "line"\nkind = "serial"\nport = "/dev/serial/by-id/adapter"\n'
PUMP = '[[pump]]\nname = "P01"\nrated_speed_rpm = 2900\n'
PROVENANCE = (
    'provenance = { speed = "measured", power = "measured", flow = "estimated", head = "estimated" }\n'
)
ON_BUS = 'bus = "line"\nunit_id = 3\nregister_map = "map.toml"\n'


def load(folder: Path, text: str) -> Site:
    path = folder / "site.toml"
    path.write_text(text, encoding="utf-8")
    (folder / "map.toml").touch()
    return load_site(path)


def refusal(folder: Path, text: str) -> str:
    with pytest.raises(SiteFileError) as caught:
        load(folder, text)
    return str(caught.value).removeprefix(str(folder / "site.toml"))


def test_the_smallest_site_is_one_pump_fed_by_imports(tmp_path: Path) -> None:
    site = load(tmp_path, SITE + PUMP + PROVENANCE)
    (pump,) = site.pumps
    assert (pump.name, pump.bus, pump.rated_speed_rpm) == ("P01", None, 2900.0)
    assert (pump.provenance.power, pump.provenance.flow) == ("measured", "estimated")


def test_what_is_not_stated_about_a_channel_is_unknown(tmp_path: Path) -> None:
    assert load(tmp_path, SITE + PUMP).pumps[0].provenance.head == "unknown"


def test_a_full_site_keeps_everything_it_was_told(tmp_path: Path) -> None:
    more = (
        'location = "cellar"\nsystem = "heating"\nduty = "flow"\nfluid = "propylene_glycol"\n'
        "glycol_mass_pct = 25\nfluid_temperature_c = 45\nstarts_per_hour_limit = 6\ninterval_s = 5\n"
        "rated_power_w = 1500\ndata_sheet = [{ flow_m3h = 0, head_m = 14 }, "
        "{ flow_m3h = 30, head_m = 9.5, power_w = 1300 }]\n"
    )
    site = load(tmp_path, SITE + BUS + PUMP + ON_BUS + more)
    pump = site.pump("P01")
    assert (pump.unit_id, pump.glycol_mass_pct, pump.interval_s) == (3, 25.0, 5.0)
    assert [point.head_m for point in pump.data_sheet] == [14.0, 9.5]
    assert site.pumps_on(site.bus("line")) == (pump,)
    assert site.register_map_path(pump) == tmp_path / "map.toml"


def test_a_serial_line_is_19200_even_unless_said_otherwise(tmp_path: Path) -> None:
    # Serial line specification V1.02: 19200 baud and even parity are the defaults (from memory).
    bus = load(tmp_path, SITE + BUS).buses[0]
    assert (bus.baud, bus.parity, bus.stop_bits) == (19_200, "E", 1)


def test_a_gateway_listens_on_502_unless_said_otherwise(tmp_path: Path) -> None:
    # 502 is the port that IANA's service name registry lists for this protocol (from memory).
    bus = load(tmp_path, SITE + '[[bus]]\nname = "net"\nkind = "tcp"\nhost = "10.0.0.9"\n').buses[0]
    assert bus.place == "10.0.0.9:502"


def test_the_database_stands_beside_the_site_file(tmp_path: Path) -> None:
    assert load(tmp_path, SITE).database_url == f"sqlite:///{tmp_path.resolve() / 'site.sqlite'}"


def test_a_relative_database_file_is_relative_to_the_site_file(tmp_path: Path) -> None:
    text = SITE + 'database = "sqlite:///data/pumps.sqlite"\n'
    assert load(tmp_path, text).database_url == f"sqlite:///{tmp_path.resolve() / 'data/pumps.sqlite'}"


def test_a_database_elsewhere_is_left_as_written(tmp_path: Path) -> None:
    url = "postgresql+psycopg://centre/pumps"
    assert load(tmp_path, SITE + f'database = "{url}"\n').database_url == url


def test_a_site_cannot_be_changed_after_it_was_read(tmp_path: Path) -> None:
    site = load(tmp_path, SITE)
    with pytest.raises(ValueError, match="frozen"):
        site.name = "other"  # type: ignore[misc]


def test_a_name_may_hold_markup_and_other_scripts(tmp_path: Path) -> None:
    name = "<b>Pumpe № 1</b> & 'søn' 水泵"
    assert load(tmp_path, SITE + PUMP.replace("P01", name)).pumps[0].name == name


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", ": site: is missing"),
        ("[sit]\nname = 1\n", ", line 1: unknown key 'sit'; did you mean 'site'?"),
        (
            SITE + PUMP + "data_sheet = [{ flow_m3h = 1, head_m = 9 }, { flow_m3h = 1.0, head_m = 8 }]\n",
            "data_sheet has two points at flow_m3h = 1",
        ),
        (
            SITE + PUMP + 'data_sheet = "x.csv"\n',
            "data_sheet: should be a list in square brackets, not",
        ),
        (
            SITE + PUMP + 'data_sheet = ["x"]\n',
            "data_sheet[1]: should be a table, as { key = value }",
        ),
        (SITE + PUMP + 'provenance = "measured"\n', "provenance: should be a table, as { key = value }, not"),
        ("x = = 3", ": not TOML: Invalid value (at line 1, column 5)"),
        (SITE.replace("Lisbon", "Lisbonne"), ", line 3: site.time_zone: 'Europe/Lisbonne' is no time zone"),
        (SITE.replace('"SI"', '"metric"'), ", line 4: site.units: should be 'SI' or 'US', not 'metric'"),
        (SITE.replace("Harbour baths", " "), ", line 2: site.name: is empty"),
        (SITE.replace("Harbour baths", "x" * 101), ", line 2: site.name: should have at most 100"),
        (SITE.replace("Harbour baths", "a\\u0000b"), ", line 2: site.name: holds a control character"),
        (
            SITE + PUMP.replace("rated_speed_rpm", "rated_sped_rpm"),
            ", line 7: pump[1]: unknown key 'rated_sped_rpm'; did you mean 'rated_speed_rpm'?",
        ),
        (
            SITE + PUMP + PROVENANCE.replace("flow =", "flwo ="),
            ", line 8: pump[1].provenance: unknown key 'flwo'; did you mean 'flow'?",
        ),
        (
            SITE + PUMP.replace("2900", '"2900"'),
            ", line 7: pump[1].rated_speed_rpm: should be a number, not '2900'",
        ),
        (SITE + PUMP.replace("2900", "true"), ", line 7: pump[1].rated_speed_rpm: should be a number"),
        (SITE + PUMP.replace("2900", "nan"), ", line 7: pump[1].rated_speed_rpm: should be a finite number"),
        (SITE + PUMP.replace("2900", "-1"), ", line 7: pump[1].rated_speed_rpm: should be greater than 0"),
        (SITE + PUMP + PUMP, ", line 9: there are two of [[pump]] with the name 'P01'"),
        (SITE + BUS + BUS, ", line 10: there are two of [[bus]] with the name 'line'"),
        (
            SITE + BUS + BUS.replace("line", "other"),
            ", line 12: bus 'other' and bus 'line' are both on /dev/serial/by-id/adapter",
        ),
        (
            SITE + BUS + PUMP + ON_BUS.replace('"line"', '"lin"'),
            ", line 12: pump 'P01': there is no bus 'lin'; did you mean 'line'?",
        ),
        (SITE + PUMP + ON_BUS, ", line 8: pump 'P01': there is no bus 'line'; the file has no [[bus]]"),
        (SITE + BUS + PUMP + 'bus = "line"\n', "also needs unit_id and register_map"),
        (SITE + PUMP + "unit_id = 3\n", "so it also needs bus"),
        (SITE + BUS + PUMP + ON_BUS.replace("map.toml", "mop.toml"), "there is no file"),
        (
            SITE + BUS + PUMP + ON_BUS.replace("= 3", "= 248"),
            ", line 13: pump 'P01': unit_id should be 1 to 247",
        ),
        (
            SITE + BUS + PUMP + ON_BUS + PUMP.replace("P01", "P02") + ON_BUS,
            ", line 19: pumps 'P01' and 'P02' both have unit_id 3 on bus 'line'",
        ),
        (SITE + BUS.replace("port =", "host ="), ', line 5: bus[1]: a serial bus needs port = "/dev/serial'),
        (SITE + BUS.replace('"serial"', '"tcp"'), ", line 5: bus[1]: a tcp bus needs host"),
        (SITE + BUS + "baud = 19200.0\n", ", line 9: bus[1].baud: should be a whole number, not 19200.0"),
        (SITE + BUS + "baud = 19201\n", ", line 9: bus[1].baud: should be a speed of serial lines (1200,"),
        (SITE + PUMP.replace("2900", "true") + "duty = 3\n", "(and 1 more, the next at line 8)"),
        (SITE + '[[bus]]\nname = "n"\nkind = "tcp"\nhost = "h"\nport = 70000\n', "between 1 and 65535"),
        (
            SITE + '[[bus]]\nname = "n"\nkind = "tcp"\nhost = "h"\nbaud = 9600\n',
            "are the gateway's own settings, not ours",
        ),
        (
            SITE + '[[bus]]\nname = "n"\nkind = "tcp"\nhost = "h"\nlisten_first_s = 12\n',
            "listen_first_s needs a serial port",
        ),
        (SITE + BUS + "listen_first_s = -1\n", "bus[1].listen_first_s: should be greater than or equal to 0"),
        (
            SITE + PUMP + "head_loss_notice_pct = 0.1\n",
            ", line 8: pump[1].head_loss_notice_pct: should be greater than or equal to 0.5",
        ),
        (
            SITE + PUMP + "head_loss_evidence_sd = 1\n",
            ", line 8: pump[1].head_loss_evidence_sd: should be greater than or equal to 3",
        ),
        (SITE + PUMP + "glycol_mass_pct = 30\n", "holds water, so glycol_mass_pct should be left out"),
    ],
)
def test_a_wrong_site_file_is_refused_in_one_line_that_says_where_and_what(
    tmp_path: Path, text: str, words: str
) -> None:
    sentence = refusal(tmp_path, text)
    assert words in sentence
    assert "\n" not in sentence


def test_a_missing_site_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(SiteFileError, match=r"nowhere\.toml: cannot be read: No such file"):
        load_site(tmp_path / "nowhere.toml")


def test_a_folder_is_no_site_file(tmp_path: Path) -> None:
    with pytest.raises(SiteFileError, match="cannot be read: Is a directory"):
        load_site(tmp_path)


def test_a_file_that_is_not_utf8_says_so(tmp_path: Path) -> None:
    path = tmp_path / "site.toml"
    path.write_bytes(SITE.encode("utf-16"))
    with pytest.raises(SiteFileError, match="not UTF-8 text"):
        load_site(path)


def test_a_byte_order_mark_does_no_harm(tmp_path: Path) -> None:
    path = tmp_path / "site.toml"
    path.write_bytes(b"\xef\xbb\xbf" + SITE.encode())
    assert load_site(path).name == "Harbour baths"


def test_a_huge_file_is_refused_unread(tmp_path: Path) -> None:
    path = tmp_path / "site.toml"
    path.write_bytes(b"#" * 4_000_001)
    with pytest.raises(SiteFileError, match="larger than 4 MB"):
        load_site(path)


def test_deep_nesting_is_refused(tmp_path: Path) -> None:
    assert "nested too deeply" in refusal(tmp_path, "x = " + "[" * 100_000)


def outcome(path: Path) -> str:
    try:
        return load_site(path).name
    except SiteFileError as error:
        return str(error)


PIECES = st.sampled_from([SITE, BUS, PUMP, PROVENANCE, ON_BUS, "[", "]", "=", '"', "\n", "x", "1", "#", "{"])


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(pieces=st.lists(PIECES | st.text(max_size=8), max_size=8))
def test_whatever_stands_in_the_file_it_is_read_or_refused_in_one_line(
    tmp_path: Path, pieces: list[str]
) -> None:
    path = tmp_path / "site.toml"
    path.write_bytes("".join(pieces).encode("utf-8", errors="surrogatepass"))
    assert len(outcome(path).splitlines()) == 1
