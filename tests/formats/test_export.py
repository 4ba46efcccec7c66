"""Exported tables: valid by frictionless (frictionlessdata.io), the forms equal to one another, nothing in the way overwritten."""

import csv
import json
import shutil
from pathlib import Path

import frictionless
import pytest
from conftest import Failed
from frictionless import system


@pytest.fixture
def export(firnbook, store, tmp_path):
    """Exports a store: `export("csv", "--full")` gives the answer; its folder is `answer["dir"]`."""
    return lambda form, *words: firnbook(store, "export", "--format", form, "-o", tmp_path / "-".join([form, *words]), *words)


def faults(package):
    with system.use_context(trusted=True):
        report = frictionless.Package(package).validate()
    return report.flatten(["rowNumber", "fieldName", "type"]), {task.name: task.stats["rows"] for task in report.tasks}


# Source: the Table Schema and Data Package specifications (version 1), as the package frictionless checks them.
@pytest.mark.parametrize("how", [(), ("--notes",), ("--full",)], ids=["usual", "notes", "full"])
def test_the_package_of_csv_is_valid(export, how):
    answer = export("csv", *how)
    found, rows = faults(Path(answer["dir"]) / "datapackage.json")
    assert found == []
    assert rows == {table["name"]: table["rows"] for table in answer["tables"]}
    assert {path.stem for path in Path(answer["dir"]).glob("*.csv")} == set(rows)


@pytest.mark.parametrize("form", ["jsonl", "parquet"])
def test_the_other_packages_name_every_file_and_field(export, form):
    answer = export(form)
    folder = Path(answer["dir"])
    package = json.loads((folder / "datapackage.json").read_text())
    assert frictionless.Package.from_descriptor(package).name == "firnbook-export"
    named = [p for r in package["resources"] for p in ([r["path"]] if isinstance(r["path"], str) else r["path"])]
    there = [str(p.relative_to(folder)) for p in folder.rglob("*") if p.is_file() and p.name != "datapackage.json"]
    assert sorted(named) == sorted(there)
    assert package["cautions"] and package["removed"]
    for resource in package["resources"]:
        for field in resource["schema"]["fields"]:
            assert field["type"] and field["description"], (resource["name"], field)
    if form == "jsonl":
        for resource in package["resources"]:
            fields = {field["name"] for field in resource["schema"]["fields"]}
            for line in (folder / resource["path"]).read_text().splitlines():
                assert set(json.loads(line)) <= fields, resource["name"]


@pytest.mark.parametrize(
    "table, column, wrong, kind",
    [
        ("strike", "outcome", "miss", "constraint-error"),
        ("strike", "depth_cm", "1001", "constraint-error"),
        ("moment", "at", "yesterday", "type-error"),
        ("moment", "by", "", "constraint-error"),
    ],
)
def test_a_wrong_cell_is_found(firnbook, demo, tmp_path, table, column, wrong, kind):
    folder = Path(firnbook(demo, "export", "--format", "csv", "-o", tmp_path / "usual")["dir"])
    shutil.copytree(folder, tmp_path / "broken")
    file = tmp_path / "broken" / f"{table}.csv"
    with file.open(newline="") as lines:
        rows = list(csv.reader(lines))
    rows[1][rows[0].index(column)] = wrong
    with file.open("w", newline="") as lines:
        csv.writer(lines).writerows(rows)
    assert faults(tmp_path / "broken" / "datapackage.json")[0] == [[2, column, kind]]


def cell(value):
    """A JSON value as it stands in a cell."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    return value


@pytest.mark.parametrize("how", [(), ("--full",)], ids=["usual", "full"])
def test_csv_and_json_lines_say_the_same(export, how):
    tables, lines = Path(export("csv", *how)["dir"]), Path(export("jsonl", *how)["dir"])
    for path in lines.glob("*.jsonl"):
        objects = [json.loads(line) for line in path.read_text().splitlines()]
        with (tables / path.name).with_suffix(".csv").open(newline="") as text:
            rows = list(csv.DictReader(text))
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


def test_a_folder_that_is_not_empty_is_refused(firnbook, demo, tmp_path):
    (tmp_path / "mine.txt").write_text("mine")
    with pytest.raises(Failed, match="is not empty"):
        firnbook(demo, "export", "--format", "parquet", "-o", tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == ["mine.txt"]
    firnbook(demo, "export", "--format", "parquet", "-o", tmp_path, "--force")
    assert (tmp_path / "mine.txt").exists() and (tmp_path / "datapackage.json").exists()


@pytest.mark.parametrize("words", [["debrief"], ["stats", "depth"], ["kit"], ["review"]], ids=" ".join)
def test_no_answer_says_minus_zero(firnbook, demo, words):
    def numbers(value):
        if isinstance(value, dict):
            value = list(value.values())
        if isinstance(value, list):
            return [number for part in value for number in numbers(part)]
        return [value] if isinstance(value, float) else []

    answer = firnbook(demo, *words)
    assert answer and not any(str(number) == "-0.0" for number in numbers(answer))
