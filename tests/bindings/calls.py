"""What a call through the Python package costs, warm: of one in which core only copies eight bytes, so that all of its time is the layer's."""

import os
import statistics
import sys
import tempfile
import time

sys.path.insert(0, os.environ["FIRNBOOK_PYTHON"])
import firnbook as f  # noqa: E402

MOST_US = 60.0

with tempfile.TemporaryDirectory() as folder:
    log = f.Logbook.open(f"{folder}/store.firnbook")
    rounds = []
    for _ in range(100):
        begun = time.perf_counter()
        for _ in range(500):
            log.device()
        rounds.append((time.perf_counter() - begun) / 500 * 1e6)
us = statistics.median(rounds[50:])
print(f"a call through the layer in Python: {us:.1f} us, at most {MOST_US:.0f}")
sys.exit(us > MOST_US)
