"""Every text that a call takes: empty, blank, a megabyte long, with a NUL, half a surrogate, marks that turn the line round, SQL. Each is taken or
refused with its type; nothing panics, and the log is sound afterwards."""

import datetime as dt
import json

import firnbook as f
import pytest
from test_door import DATE, strike

TEXTS = {"empty": "", "blank": " \t\n", "long": "x" * 1_000_000, "nul": "a\0b", "half a surrogate": "half a \ud800 pair", "turned": "\u202eabc\u0301",
         "sql": "'; DROP TABLE entry; --", "date": "0000-00-00", "path": "no/such/folder"}

# What was asked for stands in the sentence, but not a megabyte of it.
LONGEST_SENTENCE = 2_000


def calls(log, day, entry, text):
    """Each call that takes a text, with `text` there."""
    yield from [
        lambda: f.Logbook.open(text), lambda: log.find_day(text), lambda: log.begin_day(DATE, text, "Obs1"), lambda: log.begin_day(DATE, "Upper Bowl", text),
        lambda: log.write(day, log.stamp(text), f.Body.STRIKE(f.Strike())), lambda: strike(log, day, drill=text), lambda: strike(log, day, target=text),
        lambda: strike(log, day, note=text), lambda: strike(log, day, clock=text), lambda: strike(log, text), lambda: log.drill_offers(day, text),
        lambda: log.write_lines(day, "Lead", text), lambda: log.write_lines(day, text, '{"kind":"strike"}'),
        lambda: log.write_lines(day, "Lead", json.dumps({"kind": "strike", "note": text})), lambda: log.write_lines(day, "Lead", json.dumps({"kind": text})),
        lambda: log.amend(day, entry, text, "Obs1"), lambda: log.amend(day, text, "{}", "Obs1"), lambda: log.amend(day, entry, '{"depth_cm": 90}', text),
        lambda: log.amend(day, entry, json.dumps({"note": text}), "Obs1"), lambda: log.amend(day, entry, json.dumps({text: 1}), "Obs1"),
        lambda: log.void_entry(day, entry, text, "Obs1"), lambda: log.restore(day, entry, text), lambda: log.restore(day, text, "Obs1"),
        lambda: log.move_entry(day, entry, text, "Lead"), lambda: log.history(day, text), lambda: log.history(text, entry),
        lambda: log.settle(day, [text], f.Verdict.ACCEPT(), "Lead"), lambda: log.settle_all(day, f.Sort.TWIN, f.Verdict.SAME(), text, text),
        lambda: log.close_day(text, "Lead"), lambda: log.close_day(day, text, text),
        lambda: log.entries(f.Filter(kind=text)), lambda: log.export_csv(text, f.Filter()), lambda: log.export_lines(f.Filter(day=text)),
        lambda: log.debrief(day, drill=text), lambda: log.debrief(day, curve=text), lambda: log.person_stats(f.Season(), text),
        lambda: log.checks_stats(f.Season(area=text)), lambda: log.recorder(day, "Obs1", text).standing(), lambda: log.recorder(day, text, "1").standing(),
        lambda: log.set_up_drill(day, "Obs1", f.DrillSetup(drill=f.Drill(label=text), targets=[])),
        lambda: log.set_up_drill(day, "Obs1", f.DrillSetup(drill=f.Drill(label="9"), targets=[f.Target(label=text)])),
        lambda: log.merge_file(text), lambda: log.pack_file([day], text or "."), lambda: log.pack([text]),
        lambda: log.join_crew(text, "A"), lambda: log.found_crew(text), lambda: log.invite(1, [text]), lambda: log.remove_from_crew(text),
        lambda: log.sync(text, ["127.0.0.1:1"]), lambda: log.sync("A", [text]), lambda: log.open_base("A", text),
    ]


@pytest.mark.parametrize("name", TEXTS)
def test_every_text_is_taken_or_refused_and_the_log_stays_sound(name, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    log = f.Logbook.open(str(tmp_path / "store.firnbook"))
    day = log.begin_day(DATE, "Upper Bowl", "Obs1").day
    entry, refused = strike(log, day), 0
    for call in calls(log, day, entry, TEXTS[name]):
        try:
            call()
        except UnicodeEncodeError:
            refused += 1
        except f.FirnbookError as error:
            refused += 1
            assert len(error.sentence()) < LONGEST_SENTENCE, f"{len(error.sentence())}: {error.sentence()[:200]}"
    assert refused > 20
    assert all(found.rows_equal and not found.faults for found in log.verify())
    assert entry in [row.noted.id for row in log.entries(f.Filter(void=True))]


@pytest.mark.parametrize("date", [dt.date.min, dt.date(1, 12, 31), dt.date.max])
def test_a_date_at_the_edge_of_the_calendar_is_a_day_or_refused(tmp_path, date):
    log = f.Logbook.open(str(tmp_path / "store.firnbook"))
    try:
        day = log.begin_day(date, "Upper Bowl", "Obs1").day
    except f.FirnbookError.Refused as refused:
        assert refused.faults[0].fault.why
        assert log.days() == []
    else:
        assert [(row.id, row.date) for row in log.days()] == [(day, date)]
        assert log.find_day(str(date)) == day
