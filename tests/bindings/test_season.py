"""The answers of a season through the Python package: those that the command line gives of the same store, and a few figures counted by hand."""

import datetime as dt
import enum
import json
import os
import subprocess

import firnbook as f
import pytest

SATURDAYS = [dt.date(2026, 12, 5) + dt.timedelta(weeks=week) for week in range(8)]


def lines_of(week):
    """A Saturday: a check, and one run of Red, struck after 240 s and 15 s later each week, dug out by two."""
    def at(seconds):
        return (dt.datetime.combine(SATURDAYS[week], dt.time(10), dt.UTC) + dt.timedelta(seconds=seconds)).isoformat(timespec="milliseconds")

    depth_cm, strike_s = 80 + 10 * week, 240 + 15 * week
    entries = [
        {"kind": "person", "at": at(-3600), "call_sign": "Fox", "member": "M1", "team": "Red", "role": "searcher"},
        {"kind": "check", "at": at(-3000), "person": "Fox", "transmits": week != 2, "receives": True, "battery_pct": 99 - 9 * week, "nearest_electronics_cm": 15},
        {"kind": "drill", "at": at(-60), "label": "1", "team": "Red", "form": "single", "slope_deg": 25},
        {"kind": "target", "at": at(-50), "drill": "1", "label": "A", "set_depth_cm": depth_cm, "orientation": "flat"},
        {"kind": "moment", "at": at(0), "drill": "1", "step": "start"},
        {"kind": "moment", "at": at(60), "drill": "1", "target": "A", "step": "signal", "person": "Fox"},
        {"kind": "strike", "at": at(strike_s), "drill": "1", "target": "A", "outcome": "hit", "person": "Fox", "depth_cm": depth_cm + 2, "holes": 2,
         "direction": "slope_normal"},
        {"kind": "moment", "at": at(strike_s + 20), "drill": "1", "target": "A", "step": "digging"},
        {"kind": "rotation", "at": at(strike_s + 20), "drill": "1", "target": "A", "front": "Fox", "ended_at": at(strike_s + 100)},
        {"kind": "rotation", "at": at(strike_s + 100), "drill": "1", "target": "A", "front": "Lynx", "ended_at": at(strike_s + 200 + 30 * week)},
        {"kind": "moment", "at": at(strike_s + 200 + 30 * week), "drill": "1", "target": "A", "step": "airway"},
        {"kind": "depth", "at": at(900), "drill": "1", "target": "A", "depth_cm": depth_cm + 1, "method": "tape", "datum": "first_contact", "direction": "slope_normal"},
    ]
    if week % 2:
        entries.append({"kind": "interference", "at": at(30), "drill": "1", "source": "radio", "distance_cm": 20 + week})
    return "".join(json.dumps({"by": "Lead", **entry}) + "\n" for entry in entries)


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    path = str(tmp_path_factory.mktemp("season") / "store.firnbook")
    log = f.Logbook.open(path)
    for week, date in enumerate(SATURDAYS):
        log.write_lines(log.begin_day(date, "Quill Bowl", "Lead").day, "Lead", lines_of(week))
    return path


@pytest.fixture(scope="module")
def log(store):
    return f.Logbook.open(store)


def said(store, *words):
    """What the command line answers, less from what it was made and what is null."""
    command = [os.environ["FIRNBOOK_PROGRAM"], "--json", "--store", store, "stats", *words]
    ran = subprocess.run(command, capture_output=True, text=True, check=True)
    answer = without_null(json.loads(ran.stdout))
    answer.pop("made")
    return answer


def without_null(value):
    if isinstance(value, dict):
        return {name: without_null(inner) for name, inner in value.items() if inner is not None}
    return [without_null(inner) for inner in value] if isinstance(value, list) else value


def plain(value):
    """A record as the command line writes it, where an interval is a pair and what is shared is no object of its own."""
    if isinstance(value, enum.Enum):
        return value.name.lower()
    if isinstance(value, dt.date):
        return str(value)
    if isinstance(value, f.Model) and value.is_FITTED():
        return plain(value[0])
    if isinstance(value, list):
        return [plain(inner) for inner in value]
    if not hasattr(value, "__dict__"):
        return value
    if vars(value).keys() == {"lower", "upper"}:
        return [value.lower, value.upper]
    fields = {name.removeprefix("_"): plain(inner) for name, inner in vars(value).items() if inner is not None and name != "made"}
    for shared in ("figures", "footing"):
        fields |= fields.pop(shared, {})
    return fields


def test_times_are_those_of_the_command_line(store, log):
    ask = f.TimesAsk(group_by=f.GroupBy.TEAM, thresholds=f.default_thresholds())
    answer = log.times_stats(f.Season(), ask)
    assert plain(answer) == said(store, "times", "--group-by", "team")
    strike = next(step for step in answer.steps if step.step == f.Step.STRIKE)
    # 240 s and 15 s more each week: half of the eight are left from 285 to 300 s.
    assert (strike.figures.n, strike.figures.events, strike.figures.median_s) == (8, 8, 292.5)
    assert [group.group for group in strike.groups] == ["Red"]


def test_depths_are_those_of_the_command_line(store, log):
    answer = log.depth_stats(f.Season(), f.DepthAsk(of=f.DepthOf.FOUND, direction=f.Direction.SLOPE_NORMAL, method=f.Method.TAPE))
    assert plain(answer) == said(store, "depth", "--method", "tape", "--direction", "slope_normal")
    # 81 to 151 cm by the tape.
    assert (answer.figures.n, answer.figures.median_cm) == (8, 116.0)


def test_methods_are_those_of_the_command_line(store, log):
    answer = log.methods_stats(f.Season(), f.GroupBy.MONTH)
    assert plain(answer) == said(store, "methods", "--group-by", "month")
    [pair] = [pair for pair in answer.pairs if {pair.a, pair.b} == {f.Way.PROBE, f.Way.TAPE}]
    # The probe says 1 cm more than the tape, always.
    assert (pair.n, abs(pair.bias_cm), pair.sd_cm) == (8, 1.0, 0.0)


def test_checks_are_those_of_the_command_line(store, log):
    answer = log.checks_stats(f.Season(), f.GroupBy.TEAM)
    assert plain(answer) == said(store, "checks", "--group-by", "team")
    # One of eight does not send; batteries stand at 99, 90 … 36 %.
    assert [(failed.k, failed.n) for failed in answer.figures.failed if failed.k] == [(1, 8)]
    assert (answer.figures.n, answer.figures.battery.median_pct) == (8, 67.5)


def test_digging_is_that_of_the_command_line(store, log):
    answer = log.digging_stats(f.Season(), f.GroupBy.TEAM)
    assert plain(answer) == said(store, "digging", "--group-by", "team")
    turns = answer.figures.turns
    # Eight turns of 80 s, and eight of 100 s and 30 s more each week.
    assert (turns.n, turns.median_s, turns.longest_s) == (16, 90.0, 310.0)


def test_interference_is_that_of_the_command_line(store, log):
    answer = log.interference_stats(f.Season(), f.Step.SIGNAL, f.GroupBy.TEAM)
    assert plain(answer) == said(store, "interference", "--step", "signal", "--group-by", "team")
    [radio] = answer.sources
    # Every other week, 21, 23, 25 and 27 cm away.
    assert (radio.source, radio.n, radio.median_distance_cm) == (f.InterferenceSource.RADIO, 4, 24.0)
    assert (radio.times_with.n, radio.none_written.n, radio.times_with.median_s) == (4, 4, 60.0)


def test_a_person_is_that_of_the_command_line(store, log):
    answer = log.person_stats(f.Season(), "M1", f.GroupBy.MONTH)
    assert plain(answer) == said(store, "person", "M1", "--group-by", "month")
    assert (answer.call_signs, answer.n_days) == (["Fox"], 8)
    with pytest.raises(f.FirnbookError.Usage):
        log.person_stats(f.Season(), "Nobody")


@pytest.mark.parametrize("narrow, n", [
    (f.Season(since=SATURDAYS[3]), 5), (f.Season(until=SATURDAYS[3]), 4), (f.Season(area="Nowhere"), 0),
])
def test_a_season_is_narrowed(log, narrow, n):
    assert log.checks_stats(narrow).figures.n == n


class Count(f.LongWork):
    def __init__(self):
        self.asked = 0

    def goes_on(self, done, of):
        self.asked += 1
        return done < 3


@pytest.mark.parametrize("ask", [
    lambda log, watch: log.times_stats(f.Season(), f.TimesAsk(thresholds=f.default_thresholds()), watch),
    lambda log, watch: log.methods_stats(f.Season(), watch=watch),
    lambda log, watch: log.checks_stats(f.Season(), watch=watch),
    lambda log, watch: log.digging_stats(f.Season(), watch=watch),
    lambda log, watch: log.interference_stats(f.Season(), f.Step.SIGNAL, watch=watch),
    lambda log, watch: log.person_stats(f.Season(), "M1", watch=watch),
])
def test_every_answer_is_stopped_by_its_watch(log, ask):
    with pytest.raises(f.FirnbookError.Stopped) as stopped:
        ask(log, Count())
    assert (stopped.value.done, stopped.value.of) == (3, 8)
