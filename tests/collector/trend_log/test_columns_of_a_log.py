"""A column becomes a quantity in our unit, or the import is refused before anything is kept."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from collector.quantities import QUANTITY_NAMES
from collector.reading import Quality, Source, unpack_quality
from collector.store import Store
from collector.trend_log import ImportOptions, ImportReport, TrendLogError, column_choice

Take = Callable[..., ImportReport]
END = 10**15
AT = "2026-03-01T14:05:00Z"
LATER = "2026-03-01T14:06:00Z"


def columns(*texts: str) -> ImportOptions:
    return ImportOptions(columns=tuple(column_choice(text) for text in texts))


def values(store: Store, *names: str) -> list[tuple[object, ...]]:
    return [row[1:] for row in store.rows("P01", 0, END, names)]


def test_columns_of_our_names_are_taken_and_others_are_named(store: Store, take: Take) -> None:
    report = take(f"time,head_m,operator,speed_rpm\n{AT},6.5,Ana,1450\n")
    assert values(store, "speed_rpm", "head_m", "flow_m3h") == [(1450.0, 6.5, None)]
    assert report.columns_ignored == ("operator",)


def test_every_quantity_can_be_imported(store: Store, take: Take) -> None:
    take(f"time,{','.join(QUANTITY_NAMES)}\n{AT},{','.join(['7'] * len(QUANTITY_NAMES))}\n")
    assert values(store, *QUANTITY_NAMES) == [(7,) * len(QUANTITY_NAMES)]


def test_imported_readings_say_so(store: Store, take: Take) -> None:
    take(f"time,head_m\n{AT},6.5\n")
    assert values(store, "source", "quality") == [(Source.IMPORTED, 0)]


@pytest.mark.parametrize(
    ("choice", "cell", "name", "ours"),
    [
        # NIST SP 811 (2008) appendix B.8: 1 gal (US)/min = 6.309020E-05 m3/s; 1 ft = 0.3048 m;
        # 1 hp (550 ft lbf/s) = 745.6999 W; 1 degree Fahrenheit by t/1.8 from 32.
        ("flow_m3h=X:gpm", "100", "flow_m3h", 100 * 6.309020e-05 * 3600),
        ("head_m=X:ft", "20", "head_m", 6.096),
        ("power_w=X:hp", "2", "power_w", 1491.3998),
        ("power_w=X:kW", "1.45", "power_w", 1450.0),
        ("fluid_temperature_c=X:F", "212", "fluid_temperature_c", 100.0),
        ("flow_m3h=X", "12.5", "flow_m3h", 12.5),
        ("speed_rpm=X:1/s", "25", "speed_rpm", 1500.0),
    ],
)
def test_a_unit_is_converted_as_it_comes_in(
    store: Store, take: Take, choice: str, cell: str, name: str, ours: float
) -> None:
    take(f"time,X\n{AT},{cell}\n", columns(choice))
    assert values(store, name)[0][0] == pytest.approx(ours, rel=1e-6)


def test_a_header_may_hold_spaces_and_colons(store: Store, take: Take) -> None:
    take(f"time,CHW: flow\n{AT},100\n", columns("flow_m3h=CHW: flow:L/s"))
    assert values(store, "flow_m3h") == [(360.0,)]


def test_a_header_that_ends_like_a_unit_is_a_header_first(store: Store, take: Take) -> None:
    take(f"time,Flow:gpm\n{AT},100\n", columns("flow_m3h=Flow:gpm"))
    assert values(store, "flow_m3h") == [(100.0,)]


def test_a_choice_goes_before_a_column_of_our_name(store: Store, take: Take) -> None:
    take(f"time,head_m,dp\n{AT},1,2\n", columns("head_m=dp"))
    assert values(store, "head_m") == [(2.0,)]


@pytest.mark.parametrize(
    ("choice", "complaint"),
    [
        ("flow_m3h=X:psi", "flow_m3h cannot be in 'psi'; allowed: m3/h, L/s, L/min, L/h, gpm"),
        ("flow_m3h=X:GPM", "flow_m3h cannot be in 'GPM'; allowed: m3/h, L/s, L/min, L/h, gpm"),
        ("flow_m3=X:gpm", "no quantity is named 'flow_m3'; did you mean 'flow_m3h'"),
        ("flow_m3h=Y:gpm", "has no column 'Y'"),
        ("flow_m3h=x", "has no column 'x'"),
        ("starts=X:h", "starts cannot be in 'h'; allowed: "),
    ],
)
def test_a_choice_that_cannot_be_is_refused_with_what_can(
    store: Store, take: Take, choice: str, complaint: str
) -> None:
    with pytest.raises(TrendLogError) as caught:
        take(f"time,X,head_m\n{AT},1,2\n", columns(choice))
    assert complaint in str(caught.value)
    assert store.pump_names() == ()


@pytest.mark.parametrize("text", ["flow_m3h", "=X", "flow_m3h=", ""])
def test_a_choice_of_another_form_is_refused(text: str) -> None:
    with pytest.raises(TrendLogError, match='expected "quantity=header"'):
        column_choice(text)


def test_a_quantity_chosen_twice_is_refused(take: Take) -> None:
    with pytest.raises(TrendLogError, match="head_m is given twice"):
        take(f"time,A,B\n{AT},1,2\n", columns("head_m=A", "head_m=B"))


def test_a_header_that_stands_twice_is_refused(take: Take) -> None:
    with pytest.raises(TrendLogError, match="more than one column 'dp'"):
        take(f"time,dp,dp\n{AT},1,2\n", columns("head_m=dp"))


def test_a_file_without_any_quantity_is_refused_with_its_headers(take: Take) -> None:
    with pytest.raises(TrendLogError, match=r"none of the columns \(time, Flow, Head\) .* --column"):
        take(f"time,Flow,Head\n{AT},1,2\n")


@pytest.mark.parametrize("cell", ["", "-", "n/a", "NaN", "NULL", "No data"])
def test_a_cell_that_says_no_value_is_none(store: Store, take: Take, cell: str) -> None:
    take(f"time,head_m,flow_m3h\n{AT},{cell},3\n")
    ((head, quality),) = values(store, "head_m", "quality")
    assert (head, unpack_quality(int(str(quality)))["head_m"]) == (None, Quality.NO_VALUE)


@pytest.mark.parametrize("cell", ["off", "1_000", '"1,00.5"', "0x10", "6.5 m", "1.2.3"])
def test_a_cell_that_is_no_number_costs_its_value_only(store: Store, take: Take, cell: str) -> None:
    report = take(f"time,head_m,flow_m3h\n{AT},{cell},3\n{LATER},6.5,3\n")
    (head, flow, quality), _ = values(store, "head_m", "flow_m3h", "quality")
    assert (head, flow) == (None, 3.0)
    assert unpack_quality(int(str(quality)))["head_m"] is Quality.UNREADABLE
    assert report.values_unreadable == 1


@pytest.mark.parametrize(
    ("cell", "kept"), [("1000", 1000.0), ("1000.1", None), ("-50", -50.0), ("-50.1", None), ("inf", None)]
)
def test_a_value_beyond_what_a_pump_can_be_is_left_out(
    store: Store, take: Take, cell: str, kept: float | None
) -> None:
    """Both sides of both limits of head, which are those of ``collector.quantities``."""
    report = take(f"time,head_m,flow_m3h\n{AT},{cell},3\n{LATER},6.5,3\n")
    (head, quality), _ = values(store, "head_m", "quality")
    expected = Quality.GOOD if kept is not None else Quality.IMPOSSIBLE
    assert (head, unpack_quality(int(str(quality)))["head_m"]) == (kept, expected)
    assert report.values_impossible == (kept is None)


def test_one_bad_cell_does_not_touch_its_neighbours(store: Store, take: Take) -> None:
    take(
        "time,head_m\n2026-01-01T00:00Z,1\n2026-01-01T00:01Z,bad\n2026-01-01T00:02Z,9999\n2026-01-01T00:03Z,4\n"
    )
    assert values(store, "head_m")[0] == (1.0,)
    assert values(store, "head_m")[-1] == (4.0,)


def test_a_number_that_is_none_is_noticed_among_good_ones(store: Store, take: Take) -> None:
    cells = ("1", "NaN", "3")
    lines = [f"2026-01-01T00:0{number}Z,{cell},5\n" for number, cell in enumerate(cells)]
    take("time,head_m,flow_m3h\n" + "".join(lines))
    heads = values(store, "head_m", "quality")
    assert [head for head, _ in heads] == [1.0, None, 3.0]
    assert unpack_quality(int(str(heads[1][1])))["head_m"] is Quality.NO_VALUE


@pytest.mark.parametrize(("cell", "kept"), [("3", 3), ("3.0", 3), ("3.5", None)])
def test_a_counter_is_a_whole_number(store: Store, take: Take, cell: str, kept: int | None) -> None:
    take(f"time,starts,head_m\n{AT},{cell},1\n{LATER},4,1\n")
    assert values(store, "starts") == [(kept,), (4,)]
