"""What the layer adds, paired: core by itself (`pace`), this Python and a warm JVM do the same by turns, on stores of their own, in one run.

`pairs.py PACE JAVA…`: the program, and the command of the JVM that answers as it does."""

import os
import statistics
import subprocess
import sys
import tempfile
import time

sys.path.insert(0, os.environ["FIRNBOOK_PYTHON"])
import firnbook as f  # noqa: E402

ENTRIES = 10_000
PRESSES = 50
ROUNDS = 15
WARM_CALLS = 5_000
WARM_PRESSES = 2_000
CALL_US_MOST = {"Python": 60.0, "JVM": 30.0}
OPEN_MOST = 1.3
# What is reached, with room for an uneven machine; the aim is 1.0.
PRESS_MOST = 1.5


def us(work):
    begun = time.perf_counter()
    work()
    return (time.perf_counter() - begun) * 1e6


class Python:
    """The same rounds as `pace` takes, through the package."""

    def __init__(self):
        self.held = {}

    def ask(self, line):
        what, store, *count = line.split()
        return getattr(self, what)(store, *map(int, count))

    def press(self, store, count):
        if store not in self.held:
            log = f.Logbook.open(store)
            self.held[store] = log.recorder(log.days()[0].id, "Obs1", "1", 240.0)
        recorder = self.held[store]

        def press():
            recorder.press(f.Press.STRIKE(f.Strike(depth_cm=100.0)), None)

        return statistics.median(us(press) for _ in range(count))

    def open(self, store):
        def opens():
            log = f.Logbook.open(store)
            log.recorder(log.days()[0].id, "Obs1", "1", 240.0).standing()

        return us(opens)

    def call(self, store, count):
        log = f.Logbook.open(store)
        for _ in range(WARM_CALLS):
            log.device()
        return us(lambda: [log.device() for _ in range(count)]) / count


class Process:
    """Another process that takes the same rounds."""

    def __init__(self, command):
        self.process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)

    def ask(self, line):
        self.process.stdin.write(line + "\n")
        self.process.stdin.flush()
        return float(self.process.stdout.readline())


def medians(who, line):
    """The median of each, taken by turns after one round that warms up."""
    rounds = [{name: one.ask(line(name)) for name, one in who.items()} for _ in range(ROUNDS + 1)]
    return {name: statistics.median(each[name] for each in rounds[1:]) for name in who}


def main(pace, *java):
    core, failed = Process([pace]), 0
    layers = {"Python": Python(), "JVM": Process(java)}
    who = {"core": core, **layers}

    def told(says, good):
        nonlocal failed
        failed += not good
        print(says, "" if good else "OVER")

    with tempfile.TemporaryDirectory() as folder:
        for name in who:
            core.ask(f"fill {folder}/{name}.firnbook {ENTRIES}")
            core.ask(f"fill {folder}/{name}-press.firnbook 3")
        for name, most in CALL_US_MOST.items():
            call = layers[name].ask(f"call {folder}/{name}-press.firnbook 20000")
            told(f"a call in which core copies eight bytes, in {name}: {call:.1f} us, at most {most:.0f}", call <= most)
        for name, one in who.items():
            one.ask(f"press {folder}/{name}-press.firnbook {WARM_PRESSES}")
        press = medians(who, lambda name: f"press {folder}/{name}-press.firnbook {PRESSES}")
        for name in layers:
            times, more = press[name] / press["core"], press[name] - press["core"]
            told(f"a press of a recorder confirmed in {name}: {press[name]:.0f} us, by core itself {press['core']:.0f} us, {more:.0f} more, at most {CALL_US_MOST[name]:.0f}", more <= CALL_US_MOST[name])
            told(f"the same, {times:.2f} times, at most {PRESS_MOST}", times <= PRESS_MOST)
        opened = medians(who, lambda name: f"open {folder}/{name}.firnbook")
        for name in layers:
            times = opened[name] / opened["core"]
            told(f"a day of {ENTRIES} entries opened in {name}: {opened[name] / 1e3:.1f} ms, by core itself {opened['core'] / 1e3:.1f} ms, {times:.2f} times, at most {OPEN_MOST}",
                 times <= OPEN_MOST)
    return failed


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]) > 0)
