"""Any text table that a logger writes is read; what is no table is refused in one line; nothing is half."""

from __future__ import annotations

import tracemalloc
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from collector.store import Store, open_store
from collector.trend_log import ImportOptions, ImportReport, TrendLogError, import_trend_log

Take = Callable[..., ImportReport]
END = 10**15
START = datetime(2026, 1, 1, tzinfo=UTC)


def rows(count: int, step_s: int = 60) -> str:
    return "".join(
        f"{(START + timedelta(seconds=step_s * number)).isoformat()},{number % 900}.5\n"
        for number in range(count)
    )


def heads(store: Store) -> list[float | None]:
    return [head for _, head in store.rows("P01", 0, END, ["head_m"])]


@pytest.mark.parametrize(
    "text",
    [
        "time,head_m\n2026-01-01T00:00Z,6.5\n",
        "time;head_m\n2026-01-01T00:00Z;6.5\n",
        "time;head_m\n2026-01-01T00:00Z;6,5\n",
        "time\thead_m\n2026-01-01T00:00Z\t6.5\n",
        "time,head_m\r\n2026-01-01T00:00Z,6.5\r\n",
        "time,head_m\n2026-01-01T00:00Z,6.5",
        '"time","head_m"\n"2026-01-01T00:00Z","6.5"\n',
        "time,head_m\n\n2026-01-01T00:00Z,6.5\n\n",
        "\ufefftime,head_m\n2026-01-01T00:00Z,6.5\n",
        " time , head_m \n 2026-01-01T00:00Z , 6.5 \n",
    ],
    ids=[
        "comma",
        "semicolon",
        "decimal comma",
        "tab",
        "windows",
        "no end",
        "quoted",
        "gaps",
        "bom",
        "spaces",
    ],
)
def test_separators_ends_of_line_and_quotes_are_found_out(store: Store, take: Take, text: str) -> None:
    take(text)
    assert heads(store) == [6.5]


@pytest.mark.parametrize(
    "text",
    ["time;head_m;flow_m3h\n2026-01-01T00:00Z;6,5;1.5\n2026-01-01T00:01Z;6,5;1.5\n",
     "time\thead_m\n2026-01-01T00:00Z\t1,500\n2026-01-01T00:01Z\t1,500\n"],
)  # fmt: skip
def test_a_comma_that_may_mean_either_is_asked(store: Store, take: Take, text: str) -> None:
    with pytest.raises(TrendLogError, match="say --decimal comma or --decimal point"):
        take(text)


def test_a_stated_decimal_comma_is_one(store: Store, take: Take) -> None:
    take("time\thead_m\n2026-01-01T00:00Z\t1,500\n", ImportOptions(decimal="comma"))
    assert heads(store) == [1.5]


@pytest.mark.parametrize(
    ("content", "complaint"),
    [
        (b"", "is empty"),
        (b"\n\n", "is empty"),
        (b"just words\nand more\n", "is no header row of a table: 'just words'"),
        ("time,head_m\n2026-01-01T00:00Z,6.5\n".encode("utf-16"), "is UTF-16 text; save it as CSV in UTF-8"),
        (b"PK\x03\x04\x00\x00", "may be a spreadsheet file"),
        ("time,head_m,höhe\n".encode("latin-1"), "is not UTF-8 text"),
        (b"time,head_m\n", "no rows below it"),
        (b'time,head_m\n2026-01-01T00:00Z,"6.5\n' + b"x" * 200_000, "quote mark that is never closed"),
    ],
)
def test_what_is_no_table_is_refused_in_one_line_that_names_the_file(
    store: Store, take: Take, content: bytes, complaint: str
) -> None:
    with pytest.raises(TrendLogError) as caught:
        take(content)
    words = str(caught.value)
    assert complaint in words
    assert ("log.csv" in words, "\n" in words, store.pump_names()) == (True, False, ())


def test_a_missing_file_and_a_folder_are_named(store: Store, tmp_path: Path) -> None:
    with pytest.raises(TrendLogError, match=r"nowhere\.csv: cannot be read: No such file"):
        import_trend_log(store, "P01", tmp_path / "nowhere.csv")
    with pytest.raises(TrendLogError, match="is a folder"):
        import_trend_log(store, "P01", tmp_path)


def test_a_letter_that_is_not_utf_8_far_down_undoes_everything(store: Store, take: Take) -> None:
    with pytest.raises(TrendLogError, match=r"not UTF-8 text \(after line \d+\)"):
        take(b"time,head_m\n" + rows(12_000).encode() + b"\xff,1\n")
    assert (store.pump_names(), store.imports(), store.touched_hours().hours) == ((), [], {})


def test_a_time_without_offset_far_down_undoes_everything(store: Store, take: Take) -> None:
    with pytest.raises(TrendLogError, match="line 12002"):
        take("time,head_m\n" + rows(12_000) + "2026-03-01 12:00,1\n")
    assert store.pump_names() == ()


def test_the_same_file_twice_adds_nothing(store: Store, take: Take) -> None:
    text = "time,head_m\n" + rows(7000) + "broken\n"
    first, second = take(text), take(text)
    assert (first.rows_new, first.rows_duplicate) == (7000, 0)
    assert (second.rows_new, second.rows_duplicate, second.rows_set_aside) == (0, 7000, 1)
    assert [len(store.set_aside(record.import_id)) for record in store.imports()] == [1, 0]


def test_overlapping_files_add_only_what_is_new(store: Store, take: Take) -> None:
    take("time,head_m\n" + rows(100))
    report = take("time,head_m\n" + rows(150))
    assert (report.rows_new, report.rows_duplicate, len(heads(store))) == (50, 100, 150)


def test_an_instant_twice_in_a_file_counts_as_a_duplicate_and_the_first_stays(
    store: Store, take: Take
) -> None:
    report = take("time,head_m\n2026-01-01T00:00Z,1\n2026-01-01T00:00Z,2\n")
    assert (report.rows_new, report.rows_duplicate, heads(store)) == (1, 1, [1.0])


def test_rows_in_any_order_come_back_in_order(store: Store, take: Take) -> None:
    lines = rows(50).splitlines(keepends=True)
    take("time,head_m\n" + "".join(lines[::-1]))
    assert heads(store) == [number + 0.5 for number in range(50)]


def test_what_was_polled_stays_when_a_log_says_otherwise(store: Store, take: Take) -> None:
    take("time,head_m\n2026-01-01T00:00Z,1\n")
    take("time,head_m\n2026-01-01T00:00Z,999\n")
    assert heads(store) == [1.0]


def test_bad_rows_are_named_by_line_and_kept_with_their_reason(store: Store, take: Take) -> None:
    report = take(
        "time,head_m,note\n"
        '2026-01-01T00:00Z,1,"two\nlines"\n'
        "2026-01-01T00:01Z,2\n"
        "2026-01-01T00:02Z,,nothing\n"
        "never,4,x\n"
        "2026-01-01T00:04Z,5,a,b\n"
    )
    found = [(each.line, each.reason) for each in store.set_aside(1)]
    assert found == [
        (4, "2 columns where the header has 3"),
        (5, "no value in it can be used"),
        (6, "the time 'never' cannot be read"),
        (7, "4 columns where the header has 3"),
    ]
    assert (report.rows_new, report.rows_set_aside) == (1, 4)
    assert store.set_aside(1)[2].text == "never | 4 | x"


def test_the_report_shows_ten_bad_rows_and_the_database_holds_all(store: Store, take: Take) -> None:
    report = take("time,head_m\n" + rows(3) + "bad,1\n" * 6000)
    assert (len(report.set_aside), report.rows_set_aside, len(store.set_aside(1))) == (10, 6000, 6000)


def test_every_row_of_the_file_is_accounted_for(take: Take) -> None:
    report = take("time,head_m\n" + rows(10) + rows(4) + "bad,1\n2026-01-05T00:00Z,\n")
    assert report.rows_read == 16
    assert (report.rows_new, report.rows_duplicate, report.rows_set_aside) == (10, 4, 2)


def test_an_import_is_logged_with_the_sum_of_the_file(store: Store, take: Take, tmp_path: Path) -> None:
    import hashlib

    take("time,head_m\n" + rows(9000))
    (record,) = store.imports()
    assert record.sha256 == hashlib.sha256((tmp_path / "log.csv").read_bytes()).hexdigest()
    assert (record.pump, record.file_name, record.rows_new) == ("P01", "log.csv", 9000)


def test_an_import_touches_its_hours_and_no_others(store: Store, take: Take) -> None:
    take("time,head_m\n" + rows(120))
    mark = store.touched_hours().mark
    take("time,head_m\n2025-06-01T10:30Z,1\n")
    start = round(datetime(2025, 6, 1, 10, tzinfo=UTC).timestamp() * 1000)
    assert store.touched_hours(mark).hours["P01"][0] == start
    assert len(store.touched_hours(mark).hours["P01"]) == 2, "that hour and the newest, which may still fill"


def test_progress_reaches_the_end_of_the_file(store: Store, tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text("time,head_m\n" + rows(12_000), encoding="utf-8")
    told: list[tuple[int, int]] = []
    import_trend_log(store, "P01", path, progress=lambda done, size: told.append((done, size)))
    assert told == sorted(told)
    assert told[-1] == (path.stat().st_size, path.stat().st_size)


def test_memory_does_not_grow_with_the_file(store: Store, tmp_path: Path) -> None:
    def peak_bytes(count: int) -> int:
        path = tmp_path / f"{count}.csv"
        path.write_text("time,head_m\n" + rows(count, step_s=10), encoding="utf-8")
        tracemalloc.start()
        import_trend_log(store, f"P{count}", path)
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return peak

    peak_bytes(100)
    assert peak_bytes(60_000) < 1.2 * peak_bytes(15_000)


TEXTS = st.text(alphabet=st.sampled_from('timehad_,;\t\n\r"0123456789.-:TZ+é\x00\ufeff'), max_size=200)


@settings(max_examples=150, deadline=None)
@example('\t"0\n0')
@given(TEXTS | TEXTS.map(lambda text: f"time,head_m\n{text}") | st.binary(max_size=100))
def test_any_content_is_taken_or_refused_in_one_line(content: str | bytes) -> None:
    with TemporaryDirectory() as folder:
        path = Path(folder) / "log.csv"
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        store = open_store(f"sqlite:///{folder}/site.sqlite")
        try:
            complaint = refusal_of(store, path)
            kept = len(store.rows("P01", 0, 10**17))
        finally:
            store.close()
    assert ("\n" in complaint, bool(complaint)) == (False, kept == 0)


def refusal_of(store: Store, path: Path) -> str:
    try:
        import_trend_log(store, "P01", path)
    except TrendLogError as error:
        return str(error)
    return ""


@settings(max_examples=40, deadline=None)
@given(st.dictionaries(st.integers(0, 1_700_000_000_000), st.floats(-50, 1000), min_size=1, max_size=50))
def test_a_written_table_comes_back_exactly(table: dict[int, float]) -> None:
    with TemporaryDirectory() as folder:
        path = Path(folder) / "log.csv"
        lines = [f"{time},{head!r}\n" for time, head in table.items()]
        path.write_text("time,head_m\n" + "".join(lines), encoding="utf-8")
        store = open_store(f"sqlite:///{folder}/site.sqlite")
        try:
            import_trend_log(store, "P01", path, ImportOptions(time_format="unix_ms"))
            assert store.rows("P01", 0, 10**15, ["head_m"]) == sorted(table.items())
        finally:
            store.close()
