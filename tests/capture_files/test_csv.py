"""CSV files: separators, units, names, words for levels, and rows that make no sense."""

import pytest

from host_sim.capture import blocks
from host_sim.capture.open_capture import open_capture
from host_sim.errors import RequestError
from tests.capture_files.making import CSV, FORWARD, edges_of, read, written

ROWS = "0,0,0\n10,1,0\n20,1,1\n30,0,1\n40,0,0\n"


def test_rows_come_as_edges_with_the_levels_of_both_channels(tmp_path):
    capture = open_capture(written(tmp_path, CSV))
    assert (capture.form, capture.channels) == ("CSV", ("A", "B"))
    assert edges_of(capture) == FORWARD
    assert edges_of(capture) == FORWARD
    assert (capture.damage, capture.duration_ns) == ("", 40_000_000)


@pytest.mark.parametrize(
    "name",
    ["time_ms", "Time [ms]", "t (ms)", "ms", "Time/ms", "TIME_MS", '"time, ms"', "elapsed milliseconds"],
)
def test_the_unit_of_time_stands_in_the_name_of_the_column(tmp_path, name):
    separator = ";" if "," in name else ","
    text = f"{name},A,B\n{ROWS}".replace(",", separator) if separator == "," else None
    if text is None:
        text = f"{name};A;B\n" + ROWS.replace(",", ";")
    assert read(written(tmp_path, text)) == FORWARD


@pytest.mark.parametrize(
    ("name", "end_ns"),
    [
        ("time_s", 7_000_000_000),
        ("seconds", 7_000_000_000),
        ("time (µs)", 7_000),
        ("time (μs)", 7_000),
        ("time_us", 7_000),
        ("time [ns]", 7),
        ("t_nanoseconds", 7),
        ("time_sec", 7_000_000_000),
    ],
)
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "latin-1"])
def test_every_unit_is_known(tmp_path, name, end_ns, encoding):
    if encoding == "latin-1" and "μ" in name:
        return  # The Greek letter is not in that set.
    assert read(written(tmp_path, f"{name},A\n0,0\n7,1\n".encode(encoding))) == [(0, 0), (end_ns, 1)]


def test_without_names_the_unit_is_asked_for_and_columns_have_numbers(tmp_path):
    path = written(tmp_path, ROWS)
    with pytest.raises(RequestError) as refusal:
        open_capture(path)
    assert str(refusal.value) == (
        "capture line 1: there are no names of columns and no unit of time, allowed is a name such as"
        " 'time_us' or 'time [s]', or --time-unit with s, ms, us, ns"
    )
    assert read(path, time_unit="ms") == FORWARD
    assert read(path, ("3",), "ms") == [(0, 0), (20_000_000, 1), (40_000_000, 0)]


def test_the_option_comes_before_the_name(tmp_path):
    assert read(written(tmp_path, CSV), time_unit="us")[-1] == (40_000, 0)


@pytest.mark.parametrize(
    "text",
    [
        CSV.replace(",", ";"),
        CSV.replace(",", "\t"),
        CSV.replace(",", " , "),
        CSV.replace("\n", "\r\n"),
        CSV.rstrip("\n"),
        "# made by hand\n\n; twice\n" + CSV,
        CSV.replace("20", "\n# in between\n20"),
        CSV.replace("20,", '"20",'),
        CSV.replace("10,", "1.0e1,").replace("20,", "2.000E+01,"),
        CSV.replace(",", ";").replace("20;", "20,0;").replace("30;", "30,;"),
        CSV.replace(",0", ",False").replace(",1", ",true").replace("False,False", "off,LOW"),
        CSV.replace(",0", ",L").replace(",1", ",h"),
        CSV.replace(",0", ",x").replace("30,x", "30,0").replace("40,x,x", "40,0,low"),
    ],
)
def test_many_ways_to_write_the_same_edges(tmp_path, text):
    assert read(written(tmp_path, text)) == FORWARD


def test_samples_at_an_even_rate_become_changes(tmp_path):
    rows = "".join(f"{tick / 1000:.3f},{int(tick % 40 >= 20)}\n" for tick in range(100))
    capture = open_capture(written(tmp_path, "time_s,A\n" + rows))
    assert edges_of(capture) == [(tick * 1_000_000, tick // 20 % 2) for tick in range(0, 100, 20)]
    assert capture.duration_ns == 99_000_000


def test_time_counts_from_the_first_row_also_where_it_begins_below_zero(tmp_path):
    assert read(written(tmp_path, "time_ms,A\n-5.5,0\n-0.5,1\n0,1\n2,0\n")) == [
        (0, 0),
        (5_000_000, 1),
        (7_500_000, 0),
    ]


def test_a_capture_may_lie_wholly_before_zero(tmp_path):
    capture = open_capture(written(tmp_path, "time_ms,A\n-5,0\n-4,1\n-1,1\n"))
    assert edges_of(capture) == [(0, 0), (1_000_000, 1)]
    assert capture.duration_ns == 4_000_000


def test_columns_are_chosen_by_name_and_the_time_by_its_own(tmp_path):
    path = written(tmp_path, "sample,time_us,D0,D1,D2\n0,5,0,1,0\n1,8,0,0,1\n")
    assert read(path, ("D2", "d1")) == [(0, 2), (3_000, 1)]
    with pytest.raises(RequestError) as refusal:
        open_capture(path)
    assert str(refusal.value) == (
        "capture: it has 4 columns of levels, allowed is --channels with one or two of sample, D0, D1, D2"
    )
    with pytest.raises(
        RequestError, match=r"^capture: none of its columns of levels is called 'D3', allowed is"
    ):
        open_capture(path, ("D3",))


def test_a_channel_whose_name_begins_with_a_t_is_no_time(tmp_path):
    assert read(written(tmp_path, "stamp_us,T1,T2\n0,1,0\n8,0,1\n")) == [(0, 1), (8_000, 2)]


def test_levels_that_are_none_keep_the_one_before_and_are_counted(tmp_path):
    capture = open_capture(written(tmp_path, "time_us,A,B\n0,x,z\n1,1,Z\n2,X,1\n3,0,x\n"))
    assert edges_of(capture) == [(0, 0), (1_000, 1), (2_000, 3), (3_000, 2)]
    assert capture.unknown_values == 5


def test_a_level_is_kept_across_blocks(tmp_path, monkeypatch):
    monkeypatch.setattr(blocks, "BLOCK_BYTES", 8)
    assert read(written(tmp_path, "time_us,A,B\n0,1,0\n1,x,1\n2,x,0\n3,x,x\n")) == [
        (0, 1),
        (1_000, 3),
        (2_000, 1),
    ]


@pytest.mark.parametrize(
    ("row", "damage"),
    [
        (
            "20,2,0",
            "line 4: '2' is not a level, allowed is 0 or 1, L or H, low or high, false or true, off or on",
        ),
        ("20,1", "line 4: the number of columns is 2, allowed is 3"),
        ("20,1,1,1", "line 4: the number of columns is 4, allowed is 3"),
        ("2O,1,1", "line 4: '2O' is not a time"),
        ("nan,1,1", "line 4: 'nan' is not a time"),
        ("inf,1,1", "line 4: 'inf' is not a time"),
        ("1e99,1,1", "line 4: '1e99' is not a time"),
        ("1_0,1,1", "line 4: '1_0' is not a time"),
        ("٢,1,1", "line 4: '٢' is not a time"),
        (",1,1", "line 4: '' is not a time"),
        ("9,1,1", "line 4: the time is earlier than that of the row before it"),
        ('"20,1,1', "line 4: '\"20,1,1' is not a row of columns"),
        ("\0\0\0", r"line 4: the number of columns is 1, allowed is 3"),
        ("The End", "line 4: the number of columns is 1, allowed is 3"),
        ("20,5 V,0", "line 4: '5 V' is not a level"),
    ],
)
@pytest.mark.parametrize("block_bytes", [9, 1 << 19])
def test_a_broken_file_is_read_up_to_the_damage(tmp_path, monkeypatch, block_bytes, row, damage):
    monkeypatch.setattr(blocks, "BLOCK_BYTES", block_bytes)
    capture = open_capture(written(tmp_path, CSV.replace("20,1,1", row)))
    assert edges_of(capture) == FORWARD[:2]
    assert capture.damage.startswith(f"capture {damage}")


def test_a_row_that_is_cut_off_is_damage(tmp_path):
    capture = open_capture(written(tmp_path, CSV.rstrip("\n")[:-2]))
    assert edges_of(capture) == FORWARD[:4]
    assert (
        capture.damage == "capture line 6: the number of columns is 2, allowed is 3; what follows is not read"
    )


@pytest.mark.parametrize(
    ("text", "time_unit", "sentence"),
    [
        ("time_s,A\n", None, "capture: there is no row after the names of the columns"),
        ("time,A\n0,1\n", None, "capture line 1: the column 'time' names no unit of time, allowed is"),
        ("volts,A\n0,1\n", None, "capture line 1: the column 'volts' names no unit of time, allowed is"),
        ("time_s\n0\n", None, "capture line 1: 'time_s' does not begin a capture; allowed is VCD, CSV"),
        (
            "Dear reader, of the page\nfarewell\n",
            None,
            "capture line 1: the column 'Dear reader' names no unit",
        ),
        (CSV, "h", "--time-unit is 'h', allowed is s, ms, us, ns"),
        ("\x1b[31m,A\n1,2\n", "s", r"capture line 1: '\x1b[31m,A' does not begin a capture"),
        ("# only a comment\n", "s", "capture line 2: '' does not begin a capture"),
    ],
)
def test_what_is_no_capture_is_refused(tmp_path, text, time_unit, sentence):
    with pytest.raises(RequestError) as refusal:
        open_capture(written(tmp_path, text), None, time_unit)
    assert str(refusal.value).startswith(sentence)


def test_a_first_row_that_makes_no_sense_is_refused_when_it_is_read(tmp_path):
    capture = open_capture(written(tmp_path, "time_s,A\nzero,1\n"))
    with pytest.raises(RequestError) as refusal:
        edges_of(capture)
    assert str(refusal.value) == "capture line 2: 'zero' is not a time; what follows is not read"
