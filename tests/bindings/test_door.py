"""What the Python package does with bad input, threads, listeners, clocks and calls that come too late."""

import datetime as dt
import os
import sqlite3
import subprocess
import threading
from pathlib import Path
from zoneinfo import ZoneInfo

import firnbook as f
import pytest

DATE = dt.date(2027, 2, 6)


@pytest.fixture
def log(tmp_path):
    return f.Logbook.open(str(tmp_path / "store.firnbook"))


@pytest.fixture
def day(log):
    return log.begin_day(DATE, "Upper Bowl", "Obs1").day


def strike(log, day, depth=112.0, **more):
    common = log.stamp("Obs1")
    common.drill = "1"
    for name, value in more.items():
        setattr(common, name, value)
    return log.write(day, common, f.Body.STRIKE(f.Strike(depth_cm=depth)))


@pytest.mark.parametrize("depth", [float("nan"), float("inf"), float("-inf"), -1.0, 1000.1, 1e308])
def test_a_depth_that_can_not_be_is_refused_with_its_fields(log, day, depth):
    with pytest.raises(f.FirnbookError.Refused) as refused:
        strike(log, day, depth)
    [fault] = refused.value.faults
    assert fault.fault.why and fault.fault.value
    assert log.entries(f.Filter()) == []


@pytest.mark.parametrize("numbers", [[0.0, float("nan")], [float("inf"), 0.0]])
def test_a_track_with_a_hole_in_it_is_refused(log, day, numbers):
    points = f.Points(t_ms=[0, 1000], x=numbers, y=[0.0, 1.0])
    with pytest.raises(f.FirnbookError.Refused):
        log.write(day, log.stamp("Obs1"), f.Body.TRACK(f.Track(person="Obs1", points=points)))
    assert log.entries(f.Filter()) == []


def test_texts_empty_long_and_broken(log, day):
    with pytest.raises(f.FirnbookError.Refused):
        strike(log, day, drill="")
    with pytest.raises(f.FirnbookError.Refused):
        strike(log, day, drill="x" * 1_000_000)
    with pytest.raises((UnicodeEncodeError, f.FirnbookError)):
        strike(log, day, note="half a \ud800 pair")
    with pytest.raises(f.FirnbookError.Refused):
        strike(log, day, note="ü" * 1_000_000)
    note = "ü" * 10_000
    entry = strike(log, day, note=note)
    [row] = log.entries(f.Filter())
    assert (row.noted.id, row.noted.entry.common.note) == (entry, note)


def test_none_where_something_is_needed(log, day):
    with pytest.raises((TypeError, ValueError, AttributeError)):
        log.write(day, None, f.Body.STRIKE(f.Strike()))
    with pytest.raises((TypeError, ValueError, AttributeError)):
        log.begin_day(DATE, None, "Obs1")


def test_every_sort_of_refusal_has_its_fields_and_a_sentence(log, day, tmp_path):
    def sort(kind, call):
        with pytest.raises(kind) as refused:
            call()
        sentence = str(refused.value)
        assert len(sentence) > 20 and "`firnbook" not in sentence, sentence
        return refused.value

    entry = strike(log, day)
    gone = sort(f.FirnbookError.NotFound, lambda: log.find_day("2031-01-01"))
    assert (gone.what, gone.wanted) == (f.Sought.DAY, "2031-01-01")
    log.begin_day(DATE, "Lower Bowl", "Obs1")
    several = sort(f.FirnbookError.Ambiguous, lambda: log.find_day("2027-02-06"))
    assert len(several.found) == 2
    fixed = sort(f.FirnbookError.Fixed, lambda: log.amend(day, entry, '{"drill": "2"}', "Obs1"))
    assert (fixed.id, fixed.field) == (entry, "drill")
    fault = sort(f.FirnbookError.Refused, lambda: log.amend(day, entry, '{"depth_cm": 5000}', "Obs1"))
    assert fault.faults[0].fault.field == "depth_cm"
    sort(f.FirnbookError.Refused, lambda: log.amend(day, entry, "no json", "Obs1"))
    assert sort(f.FirnbookError.NotFound, lambda: log.settle(day, ["zzzzzzzz"], f.Verdict.ACCEPT(), "Obs1")).what == f.Sought.ITEM
    sort(f.FirnbookError.BadPack, lambda: log.merge(b"no pack"))
    good = log.pack([day]).bytes
    sort(f.FirnbookError.BadPack, lambda: log.merge(good[:-1] + bytes([good[-1] ^ 1])))
    assert sort(f.FirnbookError.Storage, lambda: log.merge_file(str(tmp_path / "none.firn"))).path
    assert sort(f.FirnbookError.Storage, lambda: f.Logbook.open(str(tmp_path))).says
    sort(f.FirnbookError.Usage, lambda: log.begin_day(DATE, "  ", "Obs1"))
    sort(f.FirnbookError.Refused, lambda: log.restore(day, "no id", "Obs1"))
    log.shut()
    log.shut()
    sort(f.FirnbookError.Shut, log.days)


def spoiled(name):
    return Path(os.environ["FIRNBOOK_SPOILED"]) / name


def test_what_a_newer_program_or_another_history_wrote_is_refused_by_its_own_type(log, tmp_path):
    with pytest.raises(f.FirnbookError.Newer) as newer:
        log.merge_file(str(spoiled("newer.firn")))
    assert (newer.value.found, newer.value.known) == (3, 2)
    with pytest.raises(f.FirnbookError.BadPack, match="before the first release"):
        log.merge_file(str(spoiled("older.firn")))


def test_a_store_of_a_newer_program_is_refused_by_its_own_type(log, tmp_path):
    log.shut()
    with sqlite3.connect(tmp_path / "store.firnbook") as store:
        [known] = store.execute("PRAGMA user_version").fetchone()
        store.execute(f"PRAGMA user_version = {known + 1}")
    with pytest.raises(f.FirnbookError.Newer) as newer:
        f.Logbook.open(str(tmp_path / "store.firnbook"))
    assert (newer.value.found, newer.value.known) == (known + 1, known)


def test_what_stands_against_closing_and_what_does_not_settle_have_their_types(log, day):
    log.write(day, log.stamp("Obs1"), f.Body.DRILL(f.Drill(label="1")))
    common = log.stamp("Obs1")
    common.drill = "1"
    log.write(day, common, f.Body.TARGET(f.Target(label="A", item="TX07", transmits=True)))
    with pytest.raises(f.FirnbookError.StillOpen) as still:
        log.close_day(day, "Obs1")
    assert still.value.day == day and still.value.because
    missing = next(item for item in log.review(day) if item.sort == f.Sort.MISSING)
    with pytest.raises(f.FirnbookError.NotSettled) as unsettled:
        log.settle(day, [missing.code], f.Verdict.ACCEPT(), "Obs1")
    assert unsettled.value.code == missing.code and unsettled.value.says


def test_listeners_hear_of_what_is_settled(log, day):
    log.write(day, log.stamp("Obs1"), f.Body.DRILL(f.Drill(label="1")))
    pair = []
    for by in ("Obs1", "Obs2"):
        common = log.stamp(by)
        common.drill, common.target = "1", "A"
        pair.append(log.write(day, common, f.Body.STRIKE(f.Strike(depth_cm=112.0, outcome=f.Outcome.HIT))))
    heard = []
    ear = Ear()
    ear.written = lambda _day, ids: heard.extend(ids)
    log.listen(ear)
    twin = next(item for item in log.review(day) if item.sort == f.Sort.TWIN)
    assert log.settle(day, [twin.code], f.Verdict.SAME(), "Lead") == [twin.code]
    assert sorted(heard) == sorted(pair)


def test_one_merge_tells_how_far_it_is_and_stops_inside(log, tmp_path):
    other = f.Logbook.open(str(tmp_path / "other.firnbook"))
    day = other.begin_day(DATE, "Upper Bowl", "Obs1").day
    for _ in range(250):
        strike(other, day)
    pack = other.pack([day]).bytes
    with pytest.raises(f.FirnbookError.Stopped) as stopped:
        log.merge(pack, watch=Watch(log, 100))
    assert stopped.value.done == 100 and log.days() == []
    watch = Watch(log, 9999)
    log.merge(pack, watch=watch)
    assert [done for done, _ in watch.seen] == [0, 100, 200] and all(of >= 250 for _, of in watch.seen)
    assert len(log.entries(f.Filter())) == 250


def test_a_kind_comes_out_as_the_csv_that_the_command_line_writes(log, day, tmp_path):
    strike(log, day, note='a, "b"\nc')
    common = log.stamp("Obs1")
    common.drill, common.target = "1", "A"
    log.write(day, common, f.Body.ROTATION(f.Rotation(front="S1")))
    log.shut()
    command = [os.environ["FIRNBOOK_PROGRAM"], "--store", str(tmp_path / "store.firnbook"), "export", "--format", "csv", "--full"]
    subprocess.run([*command, "--entries-only", "-o", str(tmp_path / "csv")], check=True, capture_output=True)
    again = f.Logbook.open(str(tmp_path / "store.firnbook"))
    for kind in ("strike", "rotation"):
        assert again.export_csv(kind, f.Filter()) == (tmp_path / "csv" / f"{kind}.csv").read_bytes().decode()
    with pytest.raises(f.FirnbookError.Refused) as refused:
        again.export_csv("storm", f.Filter())
    assert refused.value.faults[0].fault.field == "kind"


@pytest.mark.parametrize("at", [
    dt.datetime(2027, 2, 6, 10, 8, 20, 123000, dt.timezone(dt.timedelta(hours=1))),
    dt.datetime(1969, 12, 31, 23, 59, 59, 999000, dt.UTC),
    dt.datetime(9998, 12, 31, 23, 59, 59, 1000, dt.timezone(dt.timedelta(hours=-11, minutes=-30))),
    # Europe/Zurich: 02:30 on 2027-03-28 is in the gap, 02:30 on 2027-10-31 comes twice (fold).
    dt.datetime(2027, 3, 28, 2, 30, tzinfo=ZoneInfo("Europe/Zurich")),
    dt.datetime(2027, 10, 31, 2, 30, tzinfo=ZoneInfo("Europe/Zurich")),
    dt.datetime(2027, 10, 31, 2, 30, fold=1, tzinfo=ZoneInfo("Europe/Zurich")),
])
def test_times_come_back_as_they_went(log, day, at):
    strike(log, day, at=at)
    [row] = log.entries(f.Filter())
    back = row.noted.entry.common.at
    assert (back, back.utcoffset()) == (at.astimezone(dt.timezone(at.utcoffset())), at.utcoffset())


def test_times_are_rounded_to_the_millisecond_and_half_times_refused(log, day):
    strike(log, day, at=dt.datetime(2027, 2, 6, 10, 0, 0, 122_999, dt.UTC))
    assert log.entries(f.Filter())[0].noted.entry.common.at.microsecond == 123_000
    with pytest.raises(f.FirnbookError.Refused) as refused:
        strike(log, day, at=dt.datetime(2027, 2, 6, 10, 0))
    assert "offset" in str(refused.value)


def test_sixteen_threads_at_once_lose_nothing(log, day):
    failed = []

    def work():
        try:
            for _ in range(10):
                strike(log, day)
                log.days()
        except Exception as error:  # noqa: BLE001
            failed.append(error)

    threads = [threading.Thread(target=work) for _ in range(16)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert not failed and not any(thread.is_alive() for thread in threads)
    assert len(log.entries(f.Filter())) == 160


class Ear(f.LogListener):
    def __init__(self, on_written=lambda: None):
        self.on_written, self.heard = on_written, []

    def written(self, day, ids):
        self.heard.append(("written", len(ids)))
        self.on_written()

    def merged(self, report):
        self.heard.append(("merged", report.days[0].new_entries))

    def exchanged(self, report):
        self.heard.append(("exchanged", report.new_entries))

    def turn_over(self, turn):
        self.heard.append(("turn over", turn.front))


def test_listeners_hear_what_happened(log, day, tmp_path):
    ear = Ear()
    log.listen(ear)
    entry = strike(log, day)
    log.amend(day, entry, '{"depth_cm": 90}', "Obs1")
    other = f.Logbook.open(str(tmp_path / "other.firnbook"))
    strike(other, other.begin_day(DATE, "Upper Bowl", "Obs2").day)
    log.merge(other.pack([day]).bytes)
    assert ear.heard == [("written", 1), ("written", 1), ("merged", 1)]
    log.listen_no_more()
    strike(log, day)
    assert len(ear.heard) == 3


def test_a_listener_that_throws_or_calls_back_harms_nothing(log, day):
    def throw():
        raise RuntimeError("no")

    counted = []
    log.listen(Ear(throw))
    log.listen(Ear(lambda: counted.append(len(log.entries(f.Filter())))))
    strike(log, day)
    strike(log, day)
    assert counted == [1, 2]


class Watch(f.LongWork):
    def __init__(self, log, last):
        self.log, self.last, self.seen, self.called_back = log, last, [], None

    def goes_on(self, done, of):
        self.seen.append((done, of))
        try:
            self.log.days()
        except f.FirnbookError as error:
            self.called_back = error
        return done < self.last


def test_long_work_tells_how_far_it_is_and_stops_when_asked(log, day):
    for n in range(4):
        log.begin_day(DATE + dt.timedelta(days=n + 1), "Upper Bowl", "Obs1")
    watch = Watch(log, 99)
    assert len(log.verify(watch=watch)) == 5
    assert watch.seen == [(n, 5) for n in range(5)]
    assert isinstance(watch.called_back, f.FirnbookError.Usage)
    with pytest.raises(f.FirnbookError.Stopped) as stopped:
        log.verify(watch=Watch(log, 2))
    assert (stopped.value.done, stopped.value.of) == (2, 5)
    other_pack = log.pack([day]).bytes
    with pytest.raises(f.FirnbookError.Stopped):
        log.merge(other_pack, watch=Watch(log, 0))
    assert len(log.days()) == 5


class BrokenClock(f.LogClock):
    def __init__(self):
        self.broken = False

    def now(self):
        if self.broken:
            raise RuntimeError("this clock stands still")
        return dt.datetime(2027, 2, 6, 10, 0, tzinfo=dt.UTC)


def test_a_panic_inside_is_an_error_and_the_log_is_fine_afterwards(tmp_path):
    clock = BrokenClock()
    log = f.Logbook.open(str(tmp_path / "store.firnbook"), clock)
    day = log.begin_day(DATE, "Upper Bowl", "Obs1").day
    strike(log, day)
    clock.broken = True
    with pytest.raises(Exception) as panic:
        log.stamp("Obs1")
    assert "clock stands still" in str(panic.value) or "anic" in repr(panic.value)
    clock.broken = False
    strike(log, day)
    assert len(log.entries(f.Filter())) == 2
    assert all(found.rows_equal for found in log.verify())


class MovingClock(f.LogClock):
    def __init__(self):
        self.at = dt.datetime(2027, 2, 6, 10, 0, tzinfo=dt.UTC)

    def now(self):
        return self.at

    def forward(self, seconds):
        self.at += dt.timedelta(seconds=seconds)


def test_a_recorder_writes_takes_back_and_stands_where_it_stood(tmp_path):
    clock = MovingClock()
    log = f.Logbook.open(str(tmp_path / "store.firnbook"), clock)
    day = log.begin_day(DATE, "Upper Bowl", "Obs1").day
    ear = Ear()
    log.listen(ear)
    log.set_up_drill(day, "Obs1", f.DrillSetup(drill=f.Drill(label="1"), targets=[f.Target(label="A")]))
    recorder = log.recorder(day, "Obs1", "1", rotation_interval_s=60.0)
    recorder.press(f.Press.MOMENT(f.Moment(step=f.Step.START)))
    clock.forward(200)
    stamped = recorder.press(f.Press.STRIKE(f.Strike()))
    clock.forward(5)
    recorder.add_details(stamped.id, f.Press.STRIKE(f.Strike(depth_cm=112.0, outcome=f.Outcome.HIT)))
    recorder.press(f.Press.TURN(f.Rotation(front="S1")))
    clock.forward(61)
    standing = recorder.standing()
    recorder.standing()
    assert ("turn over", "S1") in ear.heard and ear.heard.count(("turn over", "S1")) == 1
    assert standing.since_start_ms == 266_000 and standing.turns[0].due_in_ms <= 0
    recorder.press(f.Press.TURN_OVER())
    recorder.undo()
    log.shut()
    again = f.Logbook.open(str(tmp_path / "store.firnbook"), clock).recorder(day, "Obs1", "1", rotation_interval_s=60.0)
    assert again.standing().turns == recorder_turns(standing)
    clock.forward(31)
    with pytest.raises(f.FirnbookError.Usage):
        again.undo()


def recorder_turns(standing):
    return standing.turns
