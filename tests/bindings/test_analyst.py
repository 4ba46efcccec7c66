"""analyst.py: a season in pandas, its types strictly checked, and its figures those of the log."""

import os
import subprocess
import sys
from pathlib import Path

import firnbook as f
from test_story import STORY, tell

FOLDER = Path(__file__).parents[2] / "bindings" / "python"
sys.path.append(str(FOLDER))


def test_a_season_is_a_table(tmp_path):
    import analyst

    path = str(tmp_path / "store.firnbook")
    tell(f.Logbook.open(path), "Obs2")
    targets, runs = analyst.season(path)
    assert list(targets["target"]) == ["A"] and list(runs["target"]) == ["A"]
    assert targets["airway_slope_normal_cm"][0] == STORY["each"]["median_cm"]
    assert runs["t_strike_s"][0] == 200.0


def test_the_types_pass_a_strict_checker():
    env = {**os.environ, "MYPYPATH": os.environ["FIRNBOOK_PYTHON"]}
    # The generated modules are read for their types; what the generator itself writes inside functions is not ours to mend.
    command = [sys.executable, "-m", "mypy", "--strict", "--follow-imports=silent", "--cache-dir", os.devnull, str(FOLDER / "analyst.py")]
    ran = subprocess.run(command, env=env, capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stdout
