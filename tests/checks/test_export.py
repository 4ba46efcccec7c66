"""Exported tables against frictionless, and the two formats against each other."""

import csv
import json
import subprocess
from pathlib import Path

import frictionless
import pytest
from reckon import built

SAMPLES = Path(__file__).with_name("entries.jsonl")


@pytest.fixture(scope="module")
def stores(tmp_path_factory):
    """Two stores: the day of the demo, and one entry of every kind. Asked as `stores(name, word, …)`, which gives the JSON answer."""
    program = built("firnbook", "firnbook")
    folder = tmp_path_factory.mktemp("stores")

    def ask(name, *words):
        command = [program, "--json", "--store", folder / name, *words]
        return json.loads(subprocess.run(command, stdout=subprocess.PIPE, check=True).stdout)

    ask("unused", "demo", "--dir", folder / "demo")
    ask("kinds.firnstore", "day", "new", "--area", "Upper Bowl", "--date", "2027-02-06", "--by", "Lead")
    ask("kinds.firnstore", "log", "--from", SAMPLES, "--day", "2027-02-06", "--by", "Lead")
    return ask


@pytest.fixture(params=["demo/base.firnstore", "kinds.firnstore"], ids=["demo", "kinds"])
def export(request, stores, tmp_path):
    """Exports a store: `export("csv", "--full")` gives the answer; its folder is `answer["dir"]`."""
    return lambda form, *words: stores(request.param, "export", "--format", form, "-o", tmp_path / "-".join([form, *words]), *words)


# Source: the Table Schema and Data Package specifications (version 1), as the package frictionless checks them.
@pytest.mark.parametrize("how", [(), ("--full",)], ids=["pseudonymous", "full"])
def test_the_package_is_valid(export, how):
    answer = export("csv", *how)
    report = frictionless.validate(Path(answer["dir"]) / "datapackage.json")
    assert report.valid, report.flatten(["title", "rowNumber", "fieldName", "note"])[:5]
    checked = {task.name: task.stats["rows"] for task in report.tasks}
    assert checked == {table["name"]: table["rows"] for table in answer["tables"]}
    assert {path.stem for path in Path(answer["dir"]).glob("*.csv")} == set(checked)


def cell(value):
    """A JSON value as it stands in a cell."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    return value


def test_both_formats_say_the_same(export):
    tables, lines = Path(export("csv", "--full")["dir"]), Path(export("jsonl", "--full")["dir"])
    for path in lines.glob("*.jsonl"):
        objects = [json.loads(line) for line in path.read_text().splitlines()]
        rows = list(csv.DictReader((tables / path.name).with_suffix(".csv").open()))
        assert len(rows) == len(objects) > 0
        for row, entry in zip(rows, objects):
            assert set(entry) <= set(row)
            for field, text in row.items():
                value = entry.get(field)
                if isinstance(value, (int, float)) and not isinstance(value, bool):
                    assert float(text) == value, (path.name, field)
                elif isinstance(value, (list, dict)) and text.startswith(("[", "{")):
                    assert json.loads(text) == value, (path.name, field)
                elif isinstance(value, list):
                    assert text.split(";") == value, (path.name, field)
                else:
                    assert text == cell(value), (path.name, field)


@pytest.mark.parametrize("words", [["debrief"], ["stats", "depth"], ["kit"], ["review"]], ids=" ".join)
def test_no_answer_says_minus_zero(stores, words):
    def numbers(value):
        if isinstance(value, dict):
            value = list(value.values())
        if isinstance(value, list):
            return [number for part in value for number in numbers(part)]
        return [value] if isinstance(value, float) else []

    answer = stores("demo/base.firnstore", *words)
    assert answer and not any(str(number) == "-0.0" for number in numbers(answer))
