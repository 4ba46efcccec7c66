"""Correcting through the Python package: striking out and bringing back, moving, whose word it was, and the log as lines that are read again."""

import json

import firnbook as f
import pytest
from test_door import DATE, Ear, day, log, strike  # noqa: F401
from test_live import assert_plain


def test_what_was_struck_out_comes_back_and_its_history_tells_all(log, day):  # noqa: F811
    entry = strike(log, day)
    log.amend(day, entry, '{"depth_cm": 118}', "Obs2")
    assert log.void_entry(day, entry, "pressed twice", "Lead").changed == [entry]
    assert log.entries(f.Filter()) == []
    assert log.restore(day, entry, "Obs3").changed == [entry]
    assert log.restore(day, entry, "Obs3").changed == [], "what is not struck out stays as it is"
    [row] = log.entries(f.Filter())
    assert row.noted.void is None and row.noted.entry.body[0].depth_cm == 118.0
    steps = log.history(day, entry)
    assert [(step.field, step.by) for step in steps] == [("written", "Obs1"), ("depth_cm", "Obs2"), ("void", "Lead"), ("void", "Obs3")]
    assert [json.loads(step.v) for step in steps[1:]] == [118, "pressed twice", None]
    assert json.loads(steps[0].v)["depth_cm"] == 112.0
    assert {step.device for step in steps} == {log.device()} and all(step.at for step in steps)
    with pytest.raises(f.FirnbookError.NotFound) as gone:
        log.history(day, log.stamp("Obs1").id)
    assert gone.value.what == f.Sought.ENTRY


def test_an_entry_moves_to_its_day_and_back(log, day):  # noqa: F811
    other = log.begin_day(DATE, "Lower Bowl", "Obs1").day
    entry, heard = strike(log, day), []
    ear = Ear()
    ear.written = lambda day, ids: heard.append((day, ids))
    log.listen(ear)
    assert log.move_entry(day, entry, other, "Lead").changed == [entry]
    assert heard == [(day, [entry]), (other, [entry])], "both days are other than before"
    [there] = log.entries(f.Filter())
    assert (there.day, there.noted.id, there.noted.entry.body[0].depth_cm) == (other, entry, 112.0)
    [here] = log.entries(f.Filter(day=day, void=True))
    assert (here.noted.id, here.noted.void) == (entry, f"moved to day {other}")
    with pytest.raises(f.FirnbookError.Fixed):
        log.move_entry(day, entry, other, "Lead")
    log.move_entry(other, entry, day, "Lead")
    assert [row.day for row in log.entries(f.Filter())] == [day]
    with pytest.raises(f.FirnbookError.NotFound):
        log.move_entry(day, entry, "0" * len(day), "Lead")


def test_exported_lines_are_read_again_as_they_were_written(log, day, tmp_path):  # noqa: F811
    strike(log, day, note='a "b"\nc')
    struck = strike(log, day, depth=90.0)
    log.amend(day, struck, '{"depth_cm": 95}', "Obs2")
    log.void_entry(day, strike(log, day, depth=80.0), "pressed twice", "Lead")
    lines = log.export_lines(f.Filter())
    read = [json.loads(line) for line in lines.splitlines()]
    assert [(line["kind"], line["depth_cm"]) for line in read] == [("strike", 112.0), ("strike", 95)]
    assert len(log.export_lines(f.Filter(void=True)).splitlines()) == 3
    assert log.export_lines(f.Filter(kind="depth")) == ""
    other = f.Logbook.open(str(tmp_path / "other.firnbook"))
    there = other.begin_day(DATE, "Upper Bowl", "Obs1").day
    assert len(other.write_lines(there, "Lead", lines).ids) == 2
    assert other.export_lines(f.Filter()) == lines
    assert len(other.write_lines(there, "Lead", lines).ids) == 2, "the same lines again are the same entries"
    assert len(other.entries(f.Filter(void=True))) == 2


def test_no_item_of_a_review_names_a_command(log, day):  # noqa: F811
    """A press by a clock that nobody compared, an entry in a day that may be the same, kit that is out, twins."""
    common = log.stamp("Obs2")
    common.drill, common.clock = "1", "Kestrel's watch"
    log.write(day, common, f.Body.STRIKE(f.Strike(depth_cm=100.0)))
    for depth in (110.0, 140.0, 150.0):
        strike(log, day, depth)
    slip = log.begin_day(DATE, "Uper Bowl", "Obs1").day
    strike(log, slip)
    items = [item for each in (day, slip) for item in log.review(each)]
    codes = {item.item.split("!")[1].split(":")[0] for item in items if item.sort == f.Sort.DOUBT}
    assert {"clock", "one_day"} <= codes
    for item in items:
        assert_plain(item.says)
