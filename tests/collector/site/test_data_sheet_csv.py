from __future__ import annotations

from pathlib import Path

import pytest

from collector.site import Pump, SiteFileError, load_site

SITE = '[site]\nname = "Harbour baths"\ntime_zone = "Europe/Lisbon"\n'
PUMP = '[[pump]]\nname = "P01"\ndata_sheet_csv = "sheets/p01.csv"\n'


def load(folder: Path, sheet: str, more: str = "") -> Pump:
    (folder / "sheets").mkdir(exist_ok=True)
    (folder / "sheets" / "p01.csv").write_text(sheet, encoding="utf-8")
    path = folder / "site.toml"
    path.write_text(SITE + PUMP + more, encoding="utf-8")
    return load_site(path).pumps[0]


def refusal(folder: Path, sheet: str, more: str = "") -> str:
    with pytest.raises(SiteFileError) as caught:
        load(folder, sheet, more)
    sentence = str(caught.value)
    assert "\n" not in sentence
    return sentence.replace(f"{folder}/", "")


def test_a_curve_is_read_in_the_units_of_its_header(tmp_path: Path) -> None:
    pump = load(tmp_path, "flow:gpm,head:ft,power:hp\n0,40,1\n100,30,1.5\n")
    first, last = pump.data_sheet
    # 40 ft, 100 gpm and 1.5 hp by NIST SP 811, appendix B.
    assert first.head_m == pytest.approx(12.192)
    assert last.flow_m3h == pytest.approx(22.7124707)
    assert last.power_w == pytest.approx(1118.5498)


def test_points_stand_in_order_of_flow_and_power_may_be_left_out(tmp_path: Path) -> None:
    pump = load(tmp_path, "power:W,flow:m3/h,head:m\n,10,8\n300,0,12\n")
    assert [(point.flow_m3h, point.power_w) for point in pump.data_sheet] == [(0.0, 300.0), (10.0, None)]


def test_a_sheet_with_decimal_commas_and_units_in_brackets_is_read(tmp_path: Path) -> None:
    pump = load(tmp_path, "Flow (m³/h);Head [m]\n0;12,5\n3,5;10\n\n")
    assert [(point.flow_m3h, point.head_m) for point in pump.data_sheet] == [(0.0, 12.5), (3.5, 10.0)]


@pytest.mark.parametrize(
    ("sheet", "said"),
    [
        ("flow:gpm,head:ft\n0,40\n10,x\n", "line 3: head should be a number from 0 on, not 'x'"),
        ("flow:gpm,head:ft\n0,40\n10,\n", "line 3: head should be a number from 0 on, not ''"),
        ("flow:gpm,head:ft\n0,40\n-1,3\n", "line 3: flow should be a number from 0 on, not '-1'"),
        ("flow:gpm,head:ft,power:W\n0,40,0\n1,3,3\n", "line 2: power should be a number above 0, or nothing"),
        ("flow:gpm,head:ft\n0,40\n10\n", "line 3: has 1 cells, the header 2"),
        ("flow:gpm,head:ft\n0,40\n0,39\n", "line 3: there is a point at this flow already"),
        ("flow:gpm;head:ft\n0;40\n1,000;39\n", "line 3: flow should be a number from 0 on, not '1,000'"),
        ("flow:gpm,head:ft\n0,nan\n1,3\n", "line 2: head should be a number from 0 on, not 'nan'"),
        ("flow:gpm,head:ft\n0,40\n", "a curve needs at least two points below its header"),
        ("flow,head:ft\n0,40\n1,3\n", "line 1: 'flow' needs its unit, as in flow:m3/h"),
        ("flwo:gpm,head:ft\n0,40\n1,3\n", "line 1: unknown column 'flwo:gpm'; did you mean 'flow'?"),
        ("flow:gpm,head:gpm\n0,40\n1,3\n", "line 1: 'gpm' is no unit of head"),
        ("flow:gpm,power:W\n0,40\n1,3\n", "line 1: a column head is missing"),
        ("flow:gpm,flow:gpm,head:m\n0,40,1\n", "line 1: there are two columns of flow"),
    ],
)
def test_a_line_that_cannot_be_read_is_named_and_none_is_left_out(
    tmp_path: Path, sheet: str, said: str
) -> None:
    sentence = refusal(tmp_path, sheet)
    assert sentence.startswith("site.toml, line 6: pump 'P01': sheets/p01.csv")
    assert said in sentence


def test_five_hundred_points_are_a_curve_and_one_more_is_a_log(tmp_path: Path) -> None:
    rows = [f"{flow},40\n" for flow in range(501)]
    assert len(load(tmp_path, "flow:gpm,head:ft\n" + "".join(rows[:500])).data_sheet) == 500
    assert "more than 500 points" in refusal(tmp_path, "flow:gpm,head:ft\n" + "".join(rows))


def test_a_file_that_is_not_there_is_named(tmp_path: Path) -> None:
    path = tmp_path / "site.toml"
    path.write_text(SITE + PUMP, encoding="utf-8")
    with pytest.raises(SiteFileError, match=r"site.toml, line 6: pump 'P01': .*p01.csv"):
        load_site(path)


def test_one_pump_has_one_data_sheet(tmp_path: Path) -> None:
    more = "data_sheet = [{ flow_m3h = 0, head_m = 12 }]\n"
    sentence = refusal(tmp_path, "flow:gpm,head:ft\n0,40\n1,3\n", more)
    assert "pump 'P01' has data_sheet and data_sheet_csv; one of them is enough" in sentence
