"""An exported folder is a Data Package, by frictionless (frictionlessdata.io), which knows nothing of Firnbook."""

import csv
import json
import shutil
import subprocess

import pytest
from frictionless import Package, system
from reckon import ROOT


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A played day, exported twice: as it is by default, and in full."""
    place = tmp_path_factory.mktemp("package")

    def firnbook(*args):
        command = ["cargo", "run", "--quiet", "--manifest-path", ROOT / "Cargo.toml", "-p", "firnbook", "--"]
        subprocess.run([*command, "--quiet", *args], cwd=place, check=True, stdout=subprocess.DEVNULL)

    firnbook("demo", "--dir", "demo")
    store = ("--store", "demo/base.firnstore")
    firnbook("log", "note", "--note", 'two lines\nand a "quote", a comma; ü', *store)
    firnbook("export", "--format", "csv", "--output", "usual", *store)
    firnbook("export", "--format", "csv", "--full", "--output", "full", *store)
    return place


def faults(path):
    with system.use_context(trusted=True):
        report = Package(path / "datapackage.json").validate()
    return report.flatten(["rowNumber", "fieldName", "type"])


@pytest.mark.parametrize("export", ["usual", "full"])
def test_every_table_is_as_it_is_described(folder, export):
    assert faults(folder / export) == []
    described = json.loads((folder / export / "datapackage.json").read_text())
    rows = {r["name"]: r["rows"] for r in described["resources"]}
    with system.use_context(trusted=True):
        read = {r.name: len(r.read_rows()) for r in Package(folder / export / "datapackage.json").resources}
    assert read == rows
    assert rows["moment"] > 30 and rows["runs"] >= 4 and rows["targets"] >= 4


@pytest.mark.parametrize(
    "table, column, wrong, kind",
    [
        ("strike", "outcome", "miss", "constraint-error"),
        ("strike", "depth_cm", "1001", "constraint-error"),
        ("moment", "at", "yesterday", "type-error"),
        ("moment", "by", "", "constraint-error"),
    ],
)
def test_a_wrong_cell_is_found(folder, tmp_path, table, column, wrong, kind):
    shutil.copytree(folder / "usual", tmp_path / "broken")
    file = tmp_path / "broken" / f"{table}.csv"
    with file.open(newline="") as lines:
        rows = list(csv.reader(lines))
    rows[1][rows[0].index(column)] = wrong
    with file.open("w", newline="") as lines:
        csv.writer(lines).writerows(rows)
    assert faults(tmp_path / "broken") == [[2, column, kind]]
