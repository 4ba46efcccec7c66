"""What the bench of formats is paired with: the same work by Python's own means. Prints processor and wall seconds.

`formats.py parquet STORE FOLDER KEY`: every kind of entry of a store by sqlite3 and pyarrow, one file a kind and day in folders that engines read as
a partition. Numbers, flags, lists and instants in UTC are typed, with the offset of each instant beside them; call signs, and labels that could be a
name, are codes under the key, each made once; places in the grid stand to whole metres; free text and places on the earth are left out. What Arrow
can do a column at a time is done so. Two things that the program does are not: it looks for places on the earth to move into their grid, and
describes the tables. `formats.py same OURS THEIRS`: fails unless both folders hold the same files with the same columns, types and values.
`formats.py gpx FILE`: a track by gpxpy.
"""

import hashlib
import json
import resource
import sqlite3
import sys
import time
from pathlib import Path

PEOPLE = {"by", "person", "front", "instructor", "call_sign"}
LABELS = {"drill": "drill", "like": "drill", "target": "target", "item": "item", "team": "team", "clock": "clock"}
OWN_LABELS = {"drill": "drill", "target": "target", "clock_mark": "mark"}
LISTS = {"shovellers"}
TIMES = {"at", "ended_at", "joined_at", "left_at"}
FLAGS = {"transmits", "receives"}
IN_GRID = {"x_m", "y_m"}
LEFT_OUT = {"note", "remedy", "fault", "file_name", "file_sha256", "lat", "lon", "origin_lat", "origin_lon", "void", "unsettled", "day", "at_ms"}
LETTERS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"


def says_nothing(text):
    digits = sum(c in "0123456789" for c in text)
    return len(text) <= 6 and text.isascii() and text.isalnum() and (len(text) == 1 or 1 <= digits <= 4)


class Codes(dict):
    """Codes of one class by text, each made when it is first asked for."""

    def __init__(self, key, letter, of):
        self.key, self.letter, self.of = key, letter, of
        self[None] = None

    def __missing__(self, text):
        self[text] = code = text if self.letter == "L" and says_nothing(text) else self.made(text)
        return code

    def made(self, text):
        folded = " ".join(text.lower().split())
        bits = int.from_bytes(hashlib.sha256(self.key + self.of.encode() + b"\0" + folded.encode()).digest()[:5], "big")
        return f"{self.letter}-" + "".join(LETTERS[bits >> 5 * at & 31] for at in reversed(range(8)))


def parquet(store, folder, key):
    import pyarrow as pa
    import pyarrow.compute as pc
    import pyarrow.parquet as pq

    key = bytes.fromhex(Path(key).read_text())
    people = Codes(key, "P", "person")
    labels = {of: Codes(key, "L", of) for of in {*LABELS.values(), *OWN_LABELS.values()}}
    offsets = {}
    connection = sqlite3.connect(f"file:{store}?mode=ro", uri=True)
    days = dict(connection.execute("SELECT n, id FROM day"))
    kinds = [k for (k,) in connection.execute("SELECT DISTINCT kind FROM entry")]

    def offset_min(at):
        zone = at[-6:]
        if zone not in offsets:
            offsets[zone] = 0 if at.endswith("Z") else int(zone[0] + "1") * (int(zone[1:3]) * 60 + int(zone[4:]))
        return offsets[zone]

    def column(kind, name, of, values):
        if name in PEOPLE:
            return pa.array([people[v] for v in values], pa.string())
        if name in LISTS:
            return pa.array([None if v is None else [people[x] for x in json.loads(v)] for v in values], pa.list_(pa.string()))
        of_label = OWN_LABELS.get(kind) if name == "label" else LABELS.get(name)
        if of_label:
            codes = labels[of_label]
            return pa.array([codes[v] for v in values], pa.string())
        if name in TIMES:
            return pa.array(values, pa.string()).cast(pa.timestamp("ms", "UTC"))
        if name in FLAGS:
            return pa.array(values, pa.int64()).cast(pa.bool_())
        if name in IN_GRID:
            return pc.round(pa.array(values, pa.float64()), round_mode="half_towards_infinity")
        return pa.array(values, {"REAL": pa.float64(), "INTEGER": pa.int64()}.get(of, pa.string()))

    rows = 0
    for kind in kinds:
        about = connection.execute(f'PRAGMA table_info("{kind}")').fetchall()
        fields = [(name, of) for _, name, of, *_ in about if name not in LEFT_OUT]
        names = [name for name, _ in fields]
        columns = ", ".join(f'"{name}"' for name in names)
        for n, day in days.items():
            found = connection.execute(f'SELECT {columns} FROM "{kind}" WHERE day = ? AND void IS NULL ORDER BY id', (n,)).fetchall()
            if not found:
                continue
            rows += len(found)
            by_column = list(zip(*found))
            arrays = [column(kind, name, of, values) for (name, of), values in zip(fields, by_column)]
            at = names.index("id") + 1
            arrays.insert(at, pa.array([kind] * len(found), pa.string()))
            arrays.append(pa.array(map(offset_min, by_column[names.index("at")]), pa.int64()))
            place = Path(folder) / kind / f"day={day}"
            place.mkdir(parents=True)
            table = pa.table(arrays, [*names[:at], "kind", *names[at:], "utc_offset_min"])
            pq.write_table(table, place / "part-0.parquet", compression="snappy")
    return rows


def same(ours, theirs):
    import pyarrow.parquet as pq

    ours, theirs = Path(ours), Path(theirs)
    files = {file.relative_to(theirs) for file in theirs.rglob("*.parquet")}
    here = {file.relative_to(ours) for file in ours.rglob("*.parquet")} - {Path("days.parquet")}
    assert files and here == files, sorted(map(str, here ^ files))[:5]
    for file in files:
        one, other = pq.ParquetFile(ours / file).read(), pq.ParquetFile(theirs / file).read()
        assert one.schema.equals(other.schema), f"{file}: {one.schema} against {other.schema}"
        for name in one.schema.names:
            assert one[name].equals(other[name]), f"{file}: {name} differs"
    return len(files)


def gpx(file):
    import gpxpy

    with open(file) as text:
        return sum(len(s.points) for t in gpxpy.parse(text).tracks for s in t.segments)


if __name__ == "__main__":
    what, *words = sys.argv[1:]
    begun, wall = time.process_time(), time.perf_counter()
    rows = {"parquet": parquet, "same": same, "gpx": gpx}[what](*words)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(json.dumps({"cpu_s": time.process_time() - begun, "wall_s": time.perf_counter() - wall, "n": rows, "peak_mib": peak}))
