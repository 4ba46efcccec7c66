"""Presses over many days by one process, whose resident memory must stay flat: `leak.py [PRESSES]`, 100,000 over 200 days unless said. What it
holds after a tenth of them is taken as settled; by the end it may be at most 5 % more."""

import datetime as dt
import os
import sys
import tempfile

sys.path.insert(0, os.environ["FIRNBOOK_PYTHON"])
import firnbook as f  # noqa: E402

PRESSES = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
DAYS = 200
SLACK = 1.05


def resident_kb():
    with open("/proc/self/status") as status:
        return next(int(line.split()[1]) for line in status if line.startswith("VmRSS"))


def press_all(log, first, last):
    for n in range(first, last):
        day = days[n * DAYS // PRESSES]
        common = log.stamp("Obs1")
        common.drill = "1"
        log.write(day, common, f.Body.STRIKE(f.Strike(depth_cm=100.0)))


with tempfile.TemporaryDirectory() as folder:
    log = f.Logbook.open(f"{folder}/store.firnbook")
    begin = dt.date(2026, 11, 1)
    days = [log.begin_day(begin + dt.timedelta(days=n), "Upper Bowl", "Obs1").day for n in range(DAYS)]
    press_all(log, 0, PRESSES // 10)
    settled = resident_kb()
    press_all(log, PRESSES // 10, PRESSES)
    now = resident_kb()
print(f"{PRESSES} presses over {DAYS} days: {settled} kB after a tenth, {now} kB at the end, {now / settled:.3f} times")
sys.exit(now > settled * SLACK)
