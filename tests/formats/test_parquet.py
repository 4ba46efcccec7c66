"""Parquet files read by three libraries: equal values, the types that the description promises, statistics in every row group."""

import json
from datetime import datetime
from pathlib import Path

import duckdb
import polars
import pyarrow as pa
import pyarrow.dataset
import pyarrow.parquet
import pytest

TYPES = {"string": pa.string(), "number": pa.float64(), "integer": pa.int64(), "boolean": pa.bool_(),
         "datetime": pa.timestamp("ms", "UTC"), "date": pa.date32(), "array": pa.list_(pa.string())}


@pytest.fixture(scope="module")
def exported(firnbook, demo, kinds, winter, tmp_path_factory):
    """Each store exported as JSON lines and as Parquet, in full and as usual."""
    folder = tmp_path_factory.mktemp("exported")
    pairs = []
    for name, store in [("demo", demo), ("kinds", kinds), ("winter", winter)]:
        for how in ["", "--full"]:
            out = {}
            for form in ["jsonl", "parquet"]:
                out[form] = folder / f"{name}{how}-{form}"
                firnbook(store, "export", "--format", form, "-o", out[form], *([how] if how else []))
            pairs.append(out)
    return pairs


def tables(folder):
    package = json.loads((folder / "datapackage.json").read_text())
    return {r["name"]: r for r in package["resources"]}


def place(folder, name):
    return folder / "days.parquet" if name == "days" else folder / name


def by_arrow(folder, name):
    parts = pa.dataset.partitioning(pa.schema([("day", pa.string())]), flavor="hive")
    return pa.dataset.dataset(place(folder, name), partitioning=None if name == "days" else parts).to_table()


def test_types_are_those_described_and_statistics_are_there(exported):
    for out in exported:
        for name, resource in tables(out["parquet"]).items():
            schema = by_arrow(out["parquet"], name).schema
            assert {f["name"] for f in resource["schema"]["fields"]} == set(schema.names), name
            for field in resource["schema"]["fields"]:
                assert schema.field(field["name"]).type == TYPES[field["type"]], (name, field["name"])
            for file in Path(place(out["parquet"], name)).rglob("*.parquet") if name != "days" else []:
                about = pa.parquet.ParquetFile(file).metadata
                for group in range(about.num_row_groups):
                    for at in range(about.num_columns):
                        column = about.row_group(group).column(at)
                        assert column.statistics is not None, (file, column.path_in_schema)


def plain(value):
    """A value of any library as JSON lines have it."""
    if isinstance(value, datetime):
        return value.timestamp()
    return value


def expected(field, value):
    if value is None:
        return None
    if field["type"] == "datetime":
        return datetime.fromisoformat(value).timestamp()
    if field["type"] == "date":
        return datetime.fromisoformat(value).date()
    if isinstance(value, (list, dict)) and field["type"] == "string":
        return value
    return value


def same(field, read, want):
    read, want = plain(read), expected(field, want)
    if isinstance(want, (list, dict)) and isinstance(read, str):
        read = json.loads(read)
    return read == want


def test_three_libraries_read_what_json_lines_say(exported):
    for out in exported:
        for name, resource in tables(out["parquet"]).items():
            lines = [json.loads(line) for line in (out["jsonl"] / f"{name}.jsonl").read_text().splitlines()]
            fields = resource["schema"]["fields"]
            # Libraries read partitions in an order of their own; within a day rows stand as they were written.
            key = lambda r: (r["day"], r.get("id") or "")  # noqa: E731
            where = place(out["parquet"], name)
            files = str(where) if name == "days" else f"{where}/**/*.parquet"
            told = "" if name == "days" else ", hive_partitioning = true, hive_types = {'day': VARCHAR}"
            relation = duckdb.sql(f"SELECT * FROM read_parquet('{files}'{told})")
            by_duckdb = [dict(zip(relation.columns, row)) for row in relation.fetchall()]
            by_polars = polars.read_parquet(files, hive_partitioning=name != "days", hive_schema={"day": polars.String} if name != "days" else None)
            for rows in [by_arrow(out["parquet"], name).to_pylist(), by_duckdb, by_polars.to_dicts()]:
                assert len(rows) == len(lines) == resource["rows"], name
                rows, lines = sorted(rows, key=key), sorted(lines, key=key)
                for row, line in zip(rows, lines):
                    for field in fields:
                        if field["name"] == "utc_offset_min":
                            offset = datetime.fromisoformat(line["at"]).utcoffset().total_seconds() / 60
                            assert row["utc_offset_min"] == offset
                        else:
                            assert same(field, row[field["name"]], line.get(field["name"])), (name, field["name"], row, line)
