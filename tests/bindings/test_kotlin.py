"""What Kotlin packed: its pack opens with the Automerge library for JavaScript, and the jars hold what apps need."""

import json
import os
import re
import subprocess
import zipfile
from pathlib import Path

from test_story import STORY

JARS = Path(os.environ["FIRNBOOK_KOTLIN_SOURCES"]).parent
READER = Path(__file__).parents[1] / "automerge" / "read.mjs"


def test_the_pack_written_through_kotlin_opens_with_another_automerge_library():
    pack = os.environ["FIRNBOOK_PACKS"] + "/kotlin.firn"
    ran = subprocess.run(["node", str(READER), pack], capture_output=True, text=True, check=True)
    read = {line["key"]: json.loads(line["value"]) for line in map(json.loads, ran.stdout.splitlines())}
    entries = {key: value for key, value in read.items() if re.fullmatch("[0-9A-Z]{26}", key)}
    told = [{name: value for name, value in entry.items() if name not in ("id", "by")} for entry in entries.values()]
    assert sorted(told, key=lambda entry: entry["at"]) == STORY["steps"]
    assert {entry["by"] for entry in entries.values()} == {STORY["devices"]["Kotlin"]}
    amend, void = STORY["amend"], STORY["void"]
    of = {entry["at"]: key for key, entry in entries.items()}
    [(field, value)] = amend["fields"].items()
    assert read[f"{of[STORY['steps'][amend['step']]['at']]}/{field}"]["v"] == value
    assert read[f"{of[STORY['steps'][void['step']]['at']]}/void"]["v"] == void["reason"]


def test_the_jar_holds_the_generated_and_the_written_part_and_the_sources_their_documentation():
    with zipfile.ZipFile(JARS / "firnbook.jar") as jar:
        assert {"firnbook/Logbook.class", "firnbook/Listening.class", "firnbook/log/Strike.class", "firnbook/units/Centimetres.class"} <= set(jar.namelist())
    with zipfile.ZipFile(JARS / "firnbook-sources.jar") as jar:
        assert {"Listening.kt", "Units.kt"} <= set(jar.namelist())
        source = jar.read("firnbook/firnbook_bindings.kt").decode()
    door = source[source.index("public interface LogbookInterface"):]
    lines = [line.strip() for line in door[:door.index("companion object")].splitlines() if line.strip()]
    calls = [at for at, line in enumerate(lines) if re.match(r"(@Throws|fun )", line) and not lines[at - 1].startswith("@Throws")]
    assert len(calls) > 50
    assert [lines[at] for at in calls if lines[at - 1] != "*/"] == []
