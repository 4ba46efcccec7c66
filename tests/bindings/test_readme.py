"""The worked example of bindings/README, run as it is printed there."""

import os
import re
import subprocess
import sys
from pathlib import Path

README = Path(__file__).parents[2] / "bindings" / "README.md"


def test_the_python_example_stores_packs_and_merges(tmp_path):
    [code] = re.findall(r"```python\n(.*?)```", README.read_text(), re.S)
    env = {**os.environ, "PYTHONPATH": os.environ["FIRNBOOK_PYTHON"]}
    ran = subprocess.run([sys.executable, "-c", code], cwd=tmp_path, env=env, capture_output=True, text=True, check=False)
    assert (ran.stdout, ran.stderr) == ("1\n", "")


def test_the_kotlin_example_stores_packs_and_merges(tmp_path):
    ran = subprocess.run(os.environ["FIRNBOOK_KOTLIN_EXAMPLE"].split(), cwd=tmp_path, capture_output=True, text=True, check=False)
    assert ran.stdout == "1\n", ran.stderr
