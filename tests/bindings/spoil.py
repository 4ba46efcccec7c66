"""Files that a door must refuse, for the tests of every language: `spoil.py FOLDER` makes

newer.firn       a pack of a format that does not exist yet, whole by its checksum
forked.firnbook  a store in which the last change of a day is another one than in forked.firn
"""

import datetime as dt
import hashlib
import os
import sqlite3
import sys
from pathlib import Path

sys.path.insert(0, os.environ["FIRNBOOK_PYTHON"])
import firnbook as f  # noqa: E402

folder = Path(sys.argv[1])
folder.mkdir()
log = f.Logbook.open(str(folder / "forked.firnbook"))
day = log.begin_day(dt.date(2027, 2, 6), "Upper Bowl", "Obs1").day
log.write(day, log.stamp("Obs1"), f.Body.DRILL(f.Drill(label="1")))
log.pack_file([day], str(folder / "forked.firn"))
log.shut()
with sqlite3.connect(folder / "forked.firnbook") as store:
    changed = store.execute("UPDATE change SET hash = zeroblob(32) WHERE n = (SELECT max(n) FROM change)").rowcount
    assert changed == 1
pack = bytearray((folder / "forked.firn").read_bytes()[:-32])
pack[8:10] = (2).to_bytes(2, "big")
(folder / "newer.firn").write_bytes(pack + hashlib.sha256(pack).digest())
