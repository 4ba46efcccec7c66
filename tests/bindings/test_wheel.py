"""The wheel: its description as the package index checks it, installed into an environment of its own, its types under a strict checker."""

import ast
import os
import re
import subprocess
import sys
import zipfile
from pathlib import Path

import firnbook as f
from test_story import STORY, tell

WHEEL = Path(os.environ["FIRNBOOK_WHEEL"])
PACKAGE = Path(os.environ["FIRNBOOK_PYTHON"]) / "firnbook"
ANALYST = Path(__file__).parents[2] / "bindings" / "python" / "analyst.py"
PINNED = Path(__file__).parents[1] / "env" / "python.txt"


def run(*command, **more):
    ran = subprocess.run([str(word) for word in command], capture_output=True, text=True, check=False, **more)
    assert ran.returncode == 0, ran.stdout + ran.stderr
    return ran.stdout


def test_the_description_passes_the_index_s_check():
    assert "PASSED" in run(sys.executable, "-m", "twine", "check", "--strict", WHEEL)


def test_the_wheel_holds_package_library_and_the_mark_of_types():
    with zipfile.ZipFile(WHEEL) as wheel:
        inside = {name.removeprefix("firnbook/") for name in wheel.namelist() if name.startswith("firnbook/")}
    assert {"__init__.py", "generated/firnbook_bindings.py", "generated/firnbook_core.py", "py.typed"} <= inside
    assert [name for name in inside if name.startswith("generated/libfirnbook_bindings.")]


def test_the_wheel_works_in_an_environment_of_its_own(tmp_path):
    run(sys.executable, "-m", "venv", tmp_path / "own")
    python = tmp_path / "own" / "bin" / "python"
    run(python, "-m", "pip", "install", "--quiet", "--constraint", PINNED, WHEEL, "pandas")
    store = str(tmp_path / "store.firnbook")
    tell(f.Logbook.open(store), "Obs2")
    env = {name: value for name, value in os.environ.items() if name not in ("PYTHONPATH", "FIRNBOOK_PYTHON")}
    where = run(python, "-c", "import firnbook; print(firnbook.__file__)", env=env, cwd=tmp_path)
    assert Path(where.strip()).is_relative_to(tmp_path / "own")
    told = run(python, ANALYST, store, env=env, cwd=tmp_path)
    assert str(float(STORY["each"]["median_cm"])) in told and "t_strike_s" in told


def strictly(*what):
    """What the checker finds fault with: file and line of each."""
    env = {**os.environ, "MYPYPATH": os.environ["FIRNBOOK_PYTHON"]}
    command = [sys.executable, "-m", "mypy", "--strict", "--cache-dir", os.environ["FIRNBOOK_PYTHON"] + "/../mypy", *what]
    ran = subprocess.run([str(word) for word in command], env=env, capture_output=True, text=True, check=False)
    assert ran.returncode in (0, 1), ran.stderr
    found = re.findall(r"^(.*?):(\d+): error: (.*)$", ran.stdout, re.M)
    return {(Path(file).name, int(line)): says for file, line, says in found}


def public(module):
    """The lines on which what apps see of a module is declared: functions, and methods, fields and the making of
    records, without a leading underscore."""
    for node in ast.parse(module.read_text()).body:
        if getattr(node, "name", "_").startswith("_"):
            continue
        for inner in [node, *(node.body if isinstance(node, ast.ClassDef) else [])]:
            record = isinstance(inner, ast.FunctionDef) and inner.args.kwonlyargs
            if record or isinstance(inner, ast.AnnAssign) or not getattr(inner, "name", "_").startswith("_"):
                body = getattr(inner, "body", [])
                yield from range(inner.lineno, body[0].lineno if body else inner.end_lineno + 1)


def test_every_hint_that_apps_see_passes_a_strict_checker():
    found, seen = strictly(PACKAGE), 0
    for module in (PACKAGE / "generated" / "firnbook_bindings.py", PACKAGE / "generated" / "firnbook_core.py"):
        lines = set(public(module))
        seen += len(lines)
        # Inside its converters the generator writes no hints; apps call none of them.
        assert {at: says for at, says in found.items() if at[0] == module.name and at[1] in lines} == {}
    assert seen > 500 and found, "what is looked at is there, and the checker sees what has no hint"


def test_the_example_passes_a_strict_checker():
    assert {at: says for at, says in strictly(ANALYST).items() if at[0] == ANALYST.name} == {}
