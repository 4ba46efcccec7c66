"""What every check of the formats can ask for: the program, and stores with something in them."""

import json
import random
import subprocess
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "checks"))
from reckon import ROOT, built  # noqa: E402
from seasons import season  # noqa: E402

SAMPLES = ROOT / "tests" / "checks" / "entries.jsonl"


class Failed(Exception):
    """The program refused; the text is what it said."""


@pytest.fixture(scope="session")
def firnbook():
    """Runs the program: `firnbook(store, word, …)` gives its JSON answer, or raises Failed."""
    program = built("firnbook")

    def run(store, *words, said=None):
        command = [program, "--json", "--store", store, *map(str, words)]
        done = subprocess.run(command, capture_output=True, text=True)
        if said is not None:
            said.append(done.stderr)
        if done.returncode != 0:
            raise Failed(done.stderr)
        return json.loads(done.stdout)

    return run


def filled(firnbook, store, days, folder):
    """A store with these days, each (date, area, lines)."""
    lines = []
    for date, area, entries in days:
        day = firnbook(store, "day", "new", "--area", area, "--date", date, "--by", "Lead")["day"]
        lines += [json.dumps({"day": day, **entry}) for entry in entries]
    file = folder / "lines.jsonl"
    file.write_text("\n".join(lines) + "\n")
    firnbook(store, "log", "--from", file, "--by", "Lead")
    return store


@pytest.fixture(scope="session")
def demo(firnbook, tmp_path_factory):
    """The store of the played day."""
    folder = tmp_path_factory.mktemp("demo")
    firnbook(folder / "unused", "demo", "--dir", folder / "demo")
    store = folder / "demo" / "base.firnstore"
    firnbook(store, "log", "note", "--note", 'two lines\nand a "quote", a comma; ü', "--by", "Lead")
    return store


@pytest.fixture(scope="session")
def kinds(firnbook, tmp_path_factory):
    """A store with one entry of every kind."""
    store = tmp_path_factory.mktemp("kinds") / "kinds.firnstore"
    firnbook(store, "day", "new", "--area", "Upper Bowl", "--date", "2027-02-06", "--by", "Lead")
    firnbook(store, "log", "--from", SAMPLES, "--day", "2027-02-06", "--by", "Lead")
    return store


@pytest.fixture(scope="session")
def winter(firnbook, tmp_path_factory):
    """A store of a random winter of 12 days."""
    folder = tmp_path_factory.mktemp("winter")
    return filled(firnbook, folder / "winter.firnstore", season(random.Random(7), 12), folder)


@pytest.fixture(params=["demo", "kinds", "winter"])
def store(request):
    return request.getfixturevalue(request.param)
