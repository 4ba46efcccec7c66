"""Asks the mathematics of core, built from this source tree, over a pipe."""

import json
import subprocess
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def built(program):
    """The path of a program, built from this source tree with the features of all, so that nothing is compiled twice."""
    command = ["cargo", "build", "--quiet", "--workspace", "--bin", program,
               "--message-format=json-render-diagnostics"]
    build = subprocess.run(command, cwd=ROOT, stdout=subprocess.PIPE, text=True, check=True)
    artifacts = (json.loads(line) for line in build.stdout.splitlines())
    [path] = [a["executable"] for a in artifacts
              if a.get("reason") == "compiler-artifact" and a["target"]["name"] == program and a["executable"]]
    return path


class Refused(Exception):
    """The question was refused; the text is the reason given."""


class Reckon:
    """One running `reckon`; `ask("stats.mean", values=[1, 2])` gives its answer."""

    def __init__(self):
        program = built("reckon")
        self._process = subprocess.Popen([program], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)

    def ask(self, name, **arguments):
        self._process.stdin.write(json.dumps({"fn": name, **arguments}, allow_nan=False) + "\n")
        self._process.stdin.flush()
        line = self._process.stdout.readline()
        assert line, f"reckon ended while it was asked {name} with {arguments}"
        reply = json.loads(line)
        if "refused" in reply:
            raise Refused(reply["refused"])
        return reply["answer"]

    def close(self):
        self._process.stdin.close()
        assert self._process.wait(timeout=10) == 0
