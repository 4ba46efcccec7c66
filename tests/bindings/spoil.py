"""Files that a door must refuse, for the tests of every language: `spoil.py FOLDER` makes

newer.firn       a pack of a format that does not exist yet, whole by its checksum
older.firn       a pack of a format from before the first release, whole by its checksum
"""

import datetime as dt
import hashlib
import os
import sys
from pathlib import Path

sys.path.insert(0, os.environ["FIRNBOOK_PYTHON"])
import firnbook as f  # noqa: E402

folder = Path(sys.argv[1])
folder.mkdir()
log = f.Logbook.open(str(folder / "store.firnbook"))
day = log.begin_day(dt.date(2027, 2, 6), "Upper Bowl", "Obs1").day
log.write(day, log.stamp("Obs1"), f.Body.DRILL(f.Drill(label="1")))
log.pack_file([day], str(folder / "good.firn"))
log.shut()
for name, version in [("newer", 3), ("older", 1)]:
    pack = bytearray((folder / "good.firn").read_bytes()[:-32])
    pack[8:10] = version.to_bytes(2, "big")
    (folder / f"{name}.firn").write_bytes(pack + hashlib.sha256(pack).digest())
