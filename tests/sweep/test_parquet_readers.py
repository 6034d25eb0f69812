"""A sweep's Parquet table as others read it: the same numbers, and each column with its unit."""

import json

import duckdb
import pandas as pd
import polars as pl
import pyarrow.parquet as pq
import pytest

from host_sim.sweeping.column_units import column_units
from host_sim.sweeping.table_file import Unfinished
from tests.sweep.made_up import sweep_of

RULES = ("surge",)
UNITS = {
    "number": "",
    "settings.rise_mv_per_s": "mV/s",
    "settings.engage_rpm": "rpm",
    "engage_s": "s",
    "jerk_m_per_s3": "m/s³",
    "cutoff_distance_m": "m",
    "assist_wh": "Wh",
    "worst_surge": "% of what is allowed",
    "margin_surge": "% of what is allowed",
    "reason": "",
}


@pytest.fixture(scope="module")
def table(tmp_path_factory):
    """Write the table of a sweep: three points, the second not ridden, and a row beside them."""
    path = tmp_path_factory.mktemp("parquet") / "sweep.parquet"
    sweep = sweep_of(rules=RULES)
    columns = sweep.columns()
    rows = Unfinished(path, {"seed": 1}, columns, force=False)
    for number in range(4):
        filled = dict.fromkeys(columns, f"{number + 1 / 3!r}") | {"number": str(number), "reason": ""}
        if number == 1:
            filled |= dict.fromkeys(sweep.measured, "") | {"reason": '"said ""no"", twice"'}
        rows.add([",".join(filled[name] for name in columns) + "\n"])
    rows.close()
    rows.write_table(path, 3, column_units(sweep))
    return path


def test_each_column_says_its_unit_and_what_it_is(table):
    schema = pq.read_schema(table)
    for name in schema.names:
        told = schema.field(name).metadata
        assert told[b"description"], name
        if name in UNITS:
            assert told[b"unit"].decode() == UNITS[name]
    assert schema.field("settings.rise_mv_per_s").metadata[b"description"] == b"fastest rise of the command"
    assert all(
        UNITS[name] == unit for name, unit in json.loads(schema.metadata[b"units"]).items() if name in UNITS
    )


def test_pandas_reads_the_points(table):
    frame = pd.read_parquet(table)
    assert list(frame["number"]) == [0, 1, 2]
    assert frame["engage_s"][2] == 2 + 1 / 3
    assert frame["engage_s"].isna().tolist() == [False, True, False]
    assert frame["reason"][1] == 'said "no", twice'


def test_polars_reads_the_points_and_the_units(table):
    frame = pl.read_parquet(table)
    assert frame["number"].to_list() == [0, 1, 2]
    assert frame["engage_s"].to_list() == [1 / 3, None, 2 + 1 / 3]
    assert frame["reason"].to_list() == [None, 'said "no", twice', None]
    assert json.loads(pl.read_parquet_metadata(table)["units"])["jerk_m_per_s3"] == "m/s³"


def test_duckdb_reads_the_points_and_the_units(table):
    found = duckdb.execute(
        'select number, engage_s from read_parquet(?) where "settings.rise_mv_per_s" > 0 order by number',
        [str(table)],
    ).fetchall()
    assert found == [(0, 1 / 3), (1, None), (2, 2 + 1 / 3)]
    [units] = duckdb.execute(
        "select value from parquet_kv_metadata(?) where key = 'units'::blob", [str(table)]
    ).fetchone()
    assert json.loads(units)["settings.engage_rpm"] == "rpm"
