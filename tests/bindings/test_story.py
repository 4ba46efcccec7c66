"""The story of story.json through the Python package, and what the three devices' packs say once they are one store."""

import datetime as dt
import json
import os
import subprocess
from pathlib import Path

import firnbook as f
import pytest

STORY = json.loads((Path(__file__).parent / "story.json").read_text())
UNIT_FIELDS = {"at": dt.datetime.fromisoformat}
CHOICES = {"form": f.DrillForm, "step": f.Step, "outcome": f.Outcome, "direction": f.Direction,
           "orientation": f.Orientation, "method": f.Method, "datum": f.Datum}
BODIES = {"drill": (f.Body.DRILL, f.Drill), "target": (f.Body.TARGET, f.Target), "moment": (f.Body.MOMENT, f.Moment),
          "strike": (f.Body.STRIKE, f.Strike), "depth": (f.Body.DEPTH, f.Depth)}


def write(log, day, by, step):
    fields = {k: CHOICES[k][v.upper()] if k in CHOICES else v for k, v in step.items()}
    kind, common = fields.pop("kind"), log.stamp(by)
    common.at = dt.datetime.fromisoformat(fields.pop("at"))
    common.drill, common.target = fields.pop("drill", None), fields.pop("target", None)
    body, record = BODIES[kind]
    return log.write(day, common, body(record(**fields)))


def tell(log, by):
    day = log.begin_day(dt.date.fromisoformat(STORY["date"]), STORY["area"], by).day
    ids = [write(log, day, by, step) for step in STORY["steps"]]
    amend, void = STORY["amend"], STORY["void"]
    log.amend(day, ids[amend["step"]], json.dumps(amend["fields"]), by)
    log.void_entry(day, ids[void["step"]], void["reason"], by)
    return day


def at_the_command_line(folder, *words, said=None):
    """Runs the program on a store in `folder` and gives its answer."""
    command = [os.environ["FIRNBOOK_PROGRAM"], "--json", "--store", str(folder / "cli.firnbook"), *words]
    done = subprocess.run(command, input=said, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def ask(**narrow):
    return f.DepthAsk(of=f.DepthOf.FOUND, direction=f.Direction.SLOPE_NORMAL, **narrow)


@pytest.fixture
def log(tmp_path):
    return f.Logbook.open(str(tmp_path / "store.firnbook"))


def test_the_story_gives_its_figures(log):
    day = tell(log, STORY["devices"]["Python"])
    each = STORY["each"]
    assert len(log.entries(f.Filter(day=day))) == each["entries"]
    assert len(log.entries(f.Filter(day=day, void=True))) == each["entries"] + each["void"]
    figures = log.depth_stats(f.Season(), ask(method=f.Method.TAPE)).figures
    assert (figures.n, figures.median_cm) == (each["n"], each["median_cm"])
    log.pack_file([day], os.environ["FIRNBOOK_PACKS"] + "/python.firn")


def test_the_command_line_tells_the_same(tmp_path):
    def run(*words, said=None):
        return at_the_command_line(tmp_path, *words, said=said)

    run("settings", "me", STORY["devices"]["command line"])
    day = run("day", "new", "--area", STORY["area"], "--date", STORY["date"])["day"]
    lines = "".join(json.dumps(step) + "\n" for step in STORY["steps"])
    ids = run("log", "--day", day, "--from", "-", said=lines)["ids"]
    amend, void = STORY["amend"], STORY["void"]
    fields = [word for key, value in amend["fields"].items() for word in (f"--{key.replace('_', '-')}", str(value))]
    run("amend", ids[amend["step"]], "--day", day, *fields)
    run("void", ids[void["step"]], "--day", day, "--reason", void["reason"])
    assert run("stats", "depth", "--method", "tape")["median_cm"] == STORY["each"]["median_cm"]
    run("pack", "--day", day, "-o", os.environ["FIRNBOOK_PACKS"] + "/command-line.firn")


def test_three_languages_merged_are_one_day(log):
    packs = sorted(Path(os.environ["FIRNBOOK_PACKS"]).glob("*.firn"))
    assert [p.stem for p in packs] == ["command-line", "kotlin", "python"], "each language has packed its day"
    for pack in packs:
        report = log.merge_file(str(pack))
        assert report.days[0].new_entries == len(STORY["steps"])
    assert log.merge_file(str(packs[0])).days[0].known
    [day] = log.days()
    assert (str(day.date), day.area) == (STORY["date"], STORY["area"])
    merged = STORY["merged"]
    everything = log.entries(f.Filter(void=True))
    assert (len(everything), sum(row.noted.void is not None for row in everything)) == (merged["entries"], merged["void"])
    plain = []
    for by in STORY["devices"].values():
        own = [json.loads(row.noted.json) for row in everything if row.noted.entry.common.by == by]
        plain.append([{k: v for k, v in entry.items() if k not in ("id", "by")} for entry in own])
    assert plain[0] == plain[1] == plain[2], "every language wrote the same entries"
    assert all(found.rows_equal and not found.faults for found in log.verify())
    figures = log.depth_stats(f.Season(), ask(method=f.Method.TAPE)).figures
    assert (figures.n, figures.median_cm) == (STORY["each"]["n"], STORY["each"]["median_cm"])
    debrief = log.debrief(day.id)
    [drill] = debrief.drills
    assert [t.times.label for t in drill.targets] == ["A"]
    assert [k.item for k in debrief.kit_out] == ["TX07"]
