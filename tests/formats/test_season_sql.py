"""schemas/sql/season.sql over exported Parquet gives the program's own answers, to 1e-9, in DuckDB. Spark: test_spark.py."""

import random

import duckdb
import pytest
from conftest import filled
from reckon import ROOT
from seasons import season

SQL = ROOT / "schemas" / "sql" / "season.sql"
TABLES = ["runs", "measurements", "disturbances"]


def statements():
    """The statements of the file, without comments."""
    text = "\n".join(line for line in SQL.read_text().splitlines() if not line.lstrip().startswith("--"))
    return [s for s in text.split(";") if s.strip()]


def near(sql, cli, what):
    """Two figures are one, to 1e-9 of their size; nothing is nothing."""
    if sql is None or cli is None:
        assert sql is None and cli is None, (what, sql, cli)
    else:
        assert abs(sql - cli) <= 1e-9 * max(1.0, abs(cli)), (what, sql, cli)


def compare(ask, query):
    """Every figure of season.sql against the program: `ask(words…)` is its answer, `query(view)` rows as dictionaries."""
    depth, [row] = ask("stats", "depth"), query("season_depth")
    flat = {**depth, **{f"{q}_cm": v for q, v in (depth["quantiles"] or {}).items()}}
    for figure in ["n", "n_days", "mean_cm", "sd_cm", "min_cm", "max_cm", "median_cm", "p10_cm", "p25_cm", "p75_cm", "p90_cm"]:
        near(row[figure], flat.get(figure), f"depth {figure}")

    steps = {row["step"]: row for row in query("season_times")}
    curves = query("season_curves")
    for step in ask("stats", "times")["steps"]:
        row = steps.get(step["step"])
        if row is None:
            assert step["n"] + step["open"] + step["unwritten"] == 0
            continue
        for ours, theirs in [("n", "n"), ("events", "events"), ("censored", "censored"), ("still_open", "open"), ("unwritten", "unwritten"),
                             ("median_s", "median_s"), ("restricted_mean_s", "restricted_mean_s"), ("horizon_s", "horizon_s")]:
            near(row[ours], step[theirs], f"{step['step']} {theirs}")
        near(row["median_lower_s"], step["median_ci95"][0], f"{step['step']} lower")
        near(row["median_upper_s"], step["median_ci95"][1], f"{step['step']} upper")
        points = sorted((r for r in curves if r["step"] == step["step"]), key=lambda r: r["time_s"])
        assert len(points) == len(step["curve"])
        for point, told in zip(points, step["curve"]):
            for ours, theirs in [("time_s", "t_s"), ("at_risk", "at_risk"), ("events", "events"), ("not_yet", "not_yet"), ("lo", "lo"), ("hi", "hi")]:
                near(point[ours], told[theirs], f"curve {step['step']} {theirs}")

    pairs = {(row["a"], row["b"]): row for row in query("season_methods")}
    for pair in ask("stats", "methods")["pairs"]:
        row = pairs.get((pair["a"], pair["b"]))
        assert (row["n"] if row else 0) == pair["n"], (pair["a"], pair["b"])
        if row and row["n"] > 1:
            for figure in ["bias_cm", "sd_cm", "lower_cm", "upper_cm", "concordance"]:
                near(row[figure], pair[figure], f"{pair['a']} {pair['b']} {figure}")
            near(row["ratio"], pair["ratio"]["median"], "ratio")

    disturbed = query("season_interference")
    for step in ["fine", "strike", "airway"]:
        told = {s["source"]: s for s in ask("stats", "interference", "--step", step)["sources"]}
        rows = {row["source"]: row for row in disturbed if row["step"] == step}
        assert set(rows) == set(told)
        for source, row in rows.items():
            s = told[source]
            for figure, theirs in [("n", s["n"]), ("distance_n", s["distance_n"]), ("median_distance_cm", s["median_distance_cm"]),
                                   ("with_n", s["times_with"]["n"]), ("with_not_reached", s["times_with"]["not_reached"]),
                                   ("with_median_s", s["times_with"]["median_s"]), ("none_n", s["none_written"]["n"]),
                                   ("none_not_reached", s["none_written"]["not_reached"]),
                                   ("none_median_s", s["none_written"]["median_s"]), ("shift_s", s["shift_s"])]:
                near(row[figure], theirs, f"{step} {source} {figure}")


def in_duckdb(folder):
    """The views in DuckDB: `query(view)`."""
    engine = duckdb.connect()
    for table in TABLES:
        files = f"'{folder}/{table}/**/*.parquet', hive_partitioning = true, hive_types = {{'day': VARCHAR}}"
        engine.sql(f"CREATE VIEW {table} AS SELECT * FROM read_parquet({files})")
    for statement in statements():
        engine.execute(statement)

    def query(view):
        relation = engine.sql(f"SELECT * FROM {view}")
        return [dict(zip(relation.columns, row)) for row in relation.fetchall()]

    return query


@pytest.mark.parametrize("seed, days", [(1, 3), (2, 12), (3, 25), (4, 6)])
def test_duckdb_gives_the_answers_of_the_program(firnbook, tmp_path, seed, days):
    store = filled(firnbook, tmp_path / "store", season(random.Random(seed), days), tmp_path)
    firnbook(store, "export", "--format", "parquet", "-o", tmp_path / "season")
    compare(lambda *words: firnbook(store, *words), in_duckdb(tmp_path / "season"))


def test_a_wrong_answer_is_seen(firnbook, winter, tmp_path):
    """Of a step whose curve is off by a millionth, the comparison says so."""
    firnbook(winter, "export", "--format", "parquet", "-o", tmp_path / "season")
    right = in_duckdb(tmp_path / "season")

    def wrong(view):
        rows = right(view)
        if view == "season_curves":
            rows[-1] = {**rows[-1], "not_yet": rows[-1]["not_yet"] + 1e-6}
        return rows

    with pytest.raises(AssertionError, match="curve"):
        compare(lambda *words: firnbook(winter, *words), wrong)
