"""analyst.py: a season in pandas, and its figures those of the log."""

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
