"""What the bench of formats is paired with: the same work by Python's own means. Prints processor and wall seconds.

`formats.py parquet STORE FOLDER`: every kind of entry of a store as Parquet parted by day, call signs as codes, instants in UTC, free text left
out, by sqlite3 and pyarrow. `formats.py gpx FILE`: a track by gpxpy.
"""

import hashlib
import json
import resource
import sqlite3
import sys
import time
from datetime import datetime
from pathlib import Path

PEOPLE = {"by", "person", "front", "instructor", "call_sign"}
LISTS = {"shovellers"}
TIMES = {"at", "ended_at", "joined_at", "left_at"}
LEFT_OUT = {"note", "remedy", "fault", "file_name", "file_sha256", "lat", "lon", "void", "unsettled", "day", "at_ms"}


def parquet(store, folder):
    import pyarrow as pa
    import pyarrow.parquet as pq

    connection = sqlite3.connect(f"file:{store}?mode=ro", uri=True)
    days = dict(connection.execute("SELECT n, id FROM day"))
    kinds = [k for (k,) in connection.execute("SELECT DISTINCT kind FROM entry")]
    codes = {}

    def code(sign):
        if sign is None:
            return None
        known = codes.get(sign)
        if known is None:
            known = codes[sign] = "P-" + hashlib.sha256(b"key" + sign.casefold().encode()).hexdigest()[:8]
        return known

    rows = 0
    for kind in kinds:
        about = connection.execute(f'PRAGMA table_info("{kind}")').fetchall()
        names = [name for _, name, *_ in about if name not in LEFT_OUT]
        types = {name: of for _, name, of, *_ in about}
        columns = ", ".join(f'"{name}"' for name in names)
        for n, day in days.items():
            found = connection.execute(f'SELECT {columns} FROM "{kind}" WHERE day = ? AND void IS NULL', (n,)).fetchall()
            if not found:
                continue
            rows += len(found)
            arrays = []
            for name, values in zip(names, zip(*found)):
                if name in PEOPLE:
                    arrays.append(pa.array([code(v) for v in values], pa.string()))
                elif name in LISTS:
                    arrays.append(pa.array([None if v is None else [code(x) for x in json.loads(v)] for v in values], pa.list_(pa.string())))
                elif name in TIMES:
                    arrays.append(pa.array([None if v is None else datetime.fromisoformat(v) for v in values], pa.timestamp("ms", "UTC")))
                else:
                    arrays.append(pa.array(values, {"REAL": pa.float64(), "INTEGER": pa.int64()}.get(types[name], pa.string())))
            place = Path(folder) / kind / f"day={day}"
            place.mkdir(parents=True)
            pq.write_table(pa.table(arrays, names), place / "part-0.parquet", compression="snappy")
    return rows


def gpx(file):
    import gpxpy

    with open(file) as text:
        return sum(len(s.points) for t in gpxpy.parse(text).tracks for s in t.segments)


if __name__ == "__main__":
    what, *words = sys.argv[1:]
    begun, wall = time.process_time(), time.perf_counter()
    rows = {"parquet": parquet, "gpx": gpx}[what](*words)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(json.dumps({"cpu_s": time.process_time() - begun, "wall_s": time.perf_counter() - wall, "n": rows, "peak_mib": peak}))
