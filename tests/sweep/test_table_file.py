"""Rows are kept as they come, half a line is ridden again, and the table appears whole."""

import csv

import pytest

from host_sim.errors import RequestError
from host_sim.sweeping.table_file import ROWS_IN_GROUP, Unfinished, check_name

COLUMNS = ["number", "settings.rise_mv_per_s", "engage_s", "reason"]
REQUEST = {"seed": 1}
LINES = ["0,200,0.1234567890123456,\n", '1,300,,"a, ""b"""\n', "2,400,1e-07,\n"]


def begun(path, lines=LINES, request=REQUEST, force=False):
    rows = Unfinished(path, request, COLUMNS, force)
    rows.add(lines)
    rows.close()
    return rows


def test_the_same_sweep_goes_on_after_its_last_whole_line(tmp_path):
    table = tmp_path / "t.csv"
    begun(table)
    with (tmp_path / "t.csv.unfinished").open("a", encoding="utf-8") as file:
        file.write("3,500,0.99")  # The program ended here.
    rows = Unfinished(table, REQUEST, COLUMNS, force=False)
    assert rows.rows == 3
    rows.add(["3,500,0.5,\n"])
    rows.close()
    assert [row["number"] for row in rows.read()] == ["0", "1", "2", "3"]
    assert [row["engage_s"] for row in rows.read()] == ["0.1234567890123456", "", "1e-07", "0.5"]
    assert [row["reason"] for row in rows.read()] == ["", 'a, "b"', "", ""]


@pytest.mark.parametrize("cut", [1, 3, 9, 30])
def test_a_file_that_ends_anywhere_loses_at_most_what_was_half_written(tmp_path, cut):
    table = tmp_path / "t.csv"
    rows = begun(table)
    whole = rows.path.read_bytes()
    rows.path.write_bytes(whole[:-cut])
    again = Unfinished(table, REQUEST, COLUMNS, force=False)
    again.add(LINES[again.rows :])
    again.close()
    assert rows.path.read_bytes() == whole


def test_another_sweep_is_refused_and_force_throws_its_rows_away(tmp_path):
    table = tmp_path / "t.csv"
    begun(table)
    with pytest.raises(RequestError, match="holds the rows of another sweep, allowed is the command"):
        Unfinished(table, {"seed": 2}, COLUMNS, force=False)
    assert Unfinished(table, REQUEST, COLUMNS, force=False).rows == 3
    assert Unfinished(table, {"seed": 2}, COLUMNS, force=True).rows == 0


def test_an_unfinished_file_that_ends_before_its_first_row_is_begun_anew(tmp_path):
    path = tmp_path / "t.csv.unfinished"
    path.write_bytes(b'{"seed"')
    rows = begun(tmp_path / "t.csv")
    assert [row["number"] for row in rows.read()] == ["0", "1", "2"]
    path.write_bytes(b"something else")
    with pytest.raises(RequestError, match="another sweep"):
        Unfinished(tmp_path / "t.csv", REQUEST, COLUMNS, force=False)


def test_the_csv_table_is_the_rows_without_the_request(tmp_path):
    rows = begun(tmp_path / "t.csv")
    rows.write_table(tmp_path / "done.csv")
    with (tmp_path / "done.csv").open(encoding="utf-8", newline="") as file:
        table = list(csv.reader(file))
    assert table == [
        COLUMNS,
        ["0", "200", "0.1234567890123456", ""],
        ["1", "300", "", 'a, "b"'],
        ["2", "400", "1e-07", ""],
    ]


def test_the_parquet_table_holds_the_same_numbers(tmp_path):
    parquet = pytest.importorskip("pyarrow.parquet")
    count = ROWS_IN_GROUP + 5  # More than a row group.
    lines = [f"{number},{200 + number},{number / 7!r},\n" for number in range(count)]
    lines[3] = '3,203,,"not legal"\n'
    rows = begun(tmp_path / "t.parquet", lines)
    rows.write_table(tmp_path / "done.parquet")
    table = parquet.read_table(tmp_path / "done.parquet").to_pylist()
    assert len(table) == count
    assert table[3] == {"number": 3, "settings.rise_mv_per_s": 203.0, "engage_s": None, "reason": "not legal"}
    assert table[-1]["engage_s"] == (count - 1) / 7


def test_a_name_says_how_to_write(tmp_path):
    with pytest.raises(RequestError, match=r"allowed is a name that ends in \.csv or \.parquet"):
        check_name(tmp_path / "t.xlsx")


def test_without_pyarrow_a_parquet_table_is_refused_with_the_way_to_get_it(monkeypatch, tmp_path):
    monkeypatch.setattr("host_sim.sweeping.table_file.find_spec", lambda name: None)
    with pytest.raises(RequestError, match="uv run --extra sweep treadle sweep"):
        check_name(tmp_path / "t.parquet")
    check_name(tmp_path / "t.csv")
