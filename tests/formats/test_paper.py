"""Printed forms filled in by hand and typed in as they are read: every heading as printed, every way to write a time, a corrected file."""

import csv
import html
import io
import re

import pytest
from conftest import Failed

#: What a hand writes below a heading that has no list of words at the foot of the sheet.
WRITTEN = {"who": "Fox", "team": "Red", "item": "TX31", "target": "A", "battery %": "80", "electronics cm": "60", "fault": "loose strap",
           "note": 'said "dig, here"', "drill": "7", "slope deg": "25", "width m": "40", "length m": "60", "limit s": "900", "set depth cm": "110",
           "right m": "12", "uphill m": "30", "reading m": "1.3", "depth cm": "112", "lowest reading m": "1.2", "from mark cm": "20", "holes": "7",
           "front": "Fox", "behind": "Lynx; Otter", "across cm": "50", "along cm": "50", "probers": "6", "distance cm": "30", "lost s": "15",
           "remedy": "moved it", "source": "phone", "about": "snow", "effect": "unsteady reading", "role": "trainee", "kind of drill": "single"}
TIMES = ["10:08:20", "1009", "+9:20"]


def inside(pattern, text):
    return [html.unescape(re.sub("<[^>]+>", "", found)).strip() for found in re.findall(pattern, text, re.DOTALL)]


def sheets(page):
    """Every sheet of a printout as a reader sees it."""
    for text in re.findall(r'<section class="paper".*?</section>', page, re.DOTALL):
        head, table = text.split("<table>")
        blanks = dict(zip(inside(r'<div class="blank"><small>(.*?)</small>', head), inside(r'<div class="blank">.*?<b>(.*?)</b>', head)))
        heads = inside(r'<th[^>]*scope="col"[^>]*>(.*?)</th>', table)
        rows = [inside(r"<t[hd][^>]*>(.*?)</t[hd]>", row) for row in re.findall(r"<tr>(.*?)</tr>", table.split("<tbody>")[1], re.DOTALL)]
        words = {name: said.split(", ") for name, said in re.findall(r"<p><b>(.*?)</b>: (.*?)</p>", table)}
        yield inside(r"<small>sheet</small><b>(.*?)</b>", head)[0], inside(r"<h2>(.*?)</h2>", head)[0], blanks, heads, rows, words


def typed(page):
    """The file that somebody types who read two lines off each sheet, and what was written on them."""
    text, lines = io.StringIO(), []
    writer = csv.writer(text)
    for letter, form, blanks, heads, rows, words in sheets(page):
        tops = {name: said or {"observer": "Obs1", "drill": "1", "watch": "Obs1's watch"}[name] for name, said in blanks.items()}
        writer.writerow(["form", "sheet", *heads, *tops])
        for n, row in enumerate(rows[:2]):
            started = any("start" in cells.values() for _, _, cells in lines)
            time = "10:00" if "start" in row else TIMES[len(lines) % (3 if started else 2)]
            later = {"time": time, "from": time, "arrived": "9:00", "to": "1030", "left": "16:00"}
            cells = [said or later.get(name) or (words.get(name) or [WRITTEN.get(name)])[n % len(words.get(name, [0]))] for name, said in zip(heads, row)]
            writer.writerow([form, letter, *cells, *tops.values()])
            lines.append((form, letter, dict(zip(heads, cells))))
    return text.getvalue(), lines


@pytest.fixture
def store(firnbook, tmp_path):
    firnbook(tmp_path / "store", "day", "new", "--area", "Upper Bowl", "--date", "2027-02-06", "--by", "Lead")
    return tmp_path / "store"


@pytest.mark.parametrize("size", ["a5", "a4"])
def test_every_form_is_typed_in_as_it_is_printed(firnbook, store, tmp_path, size):
    firnbook(store, "paper", "forms", "--size", size, "-o", tmp_path / "forms.html")
    text, lines = typed((tmp_path / "forms.html").read_text())
    assert {form for form, _, _ in lines} == {"people", "checks", "kit", "drills", "targets", "steps", "strikes", "turns", "depths", "probing",
                                              "disturbances", "notes"}
    assert {time for _, _, cells in lines for time in cells.values() if time in TIMES} == set(TIMES)
    file = tmp_path / "typed.csv"
    file.write_text(text)
    words = ["log", "--from", file, "--day", "2027-02-06", "--by", "Lead"]
    asked = firnbook(store, *words, "--dry-run")
    assert asked["written"] == len(lines) and firnbook(store, "entries")["entries"] == []
    assert firnbook(store, *words)["written"] == len(lines)
    held = [e["entry"] for e in firnbook(store, "entries")["entries"]]
    assert len(held) == len(lines)
    local = {entry["at"][11:19] for entry in held}
    # 10:08:20 as it stands, 1009 without a colon, 9:20 after the start at ten.
    assert {"10:08:20", "10:09:00", "10:09:20", "10:00:00"} <= local
    strikes = [entry for entry in held if entry["kind"] == "strike"]
    assert all((s["depth_cm"], s["lowest_reading_m"], s["holes"], s["by"]) == (112, 1.2, 7, "Obs1") for s in strikes) and strikes
    [turn, _] = [entry for entry in held if entry["kind"] == "rotation"]
    assert turn["shovellers"] == ["Lynx", "Otter"] and turn["ended_at"][11:16] == "10:30"
    assert firnbook(store, *words)["known"] == len(lines)

    # One number is corrected on one line: that entry is amended, and nothing is there twice.
    strike = next(line for line in text.splitlines() if line.startswith("strikes,"))
    file.write_text(text.replace(strike, strike.replace(",112,", ",114,")))
    told = firnbook(store, *words)
    assert (told["written"], told["amended"], told["known"]) == (0, 1, len(lines) - 1)
    now = [e["entry"] for e in firnbook(store, "entries")["entries"]]
    assert len(now) == len(lines) and sorted(s["depth_cm"] for s in now if s["kind"] == "strike") == [112, 114]


def test_the_labels_of_the_day_stand_on_its_forms(firnbook, demo, tmp_path):
    firnbook(demo, "paper", "forms", "--for", "Ash,Birch", "-o", tmp_path / "forms.html")
    printed = list(sheets((tmp_path / "forms.html").read_text()))
    letters = [letter for letter, *_ in printed]
    assert len(set(letters)) == len(letters)
    assert {blanks["observer"] for _, _, blanks, *_ in printed} == {"Ash", "Birch"}
    of = {e["entry"]["drill"] for e in firnbook(demo, "entries", "--kind", "strike")["entries"]}
    assert of <= {blanks.get("drill") for _, form, blanks, *_ in printed if form == "strikes"}
    people = {row[heads.index("who")] for _, form, _, heads, rows, _ in printed if form == "checks" for row in rows} - {""}
    assert people and people <= {e["entry"]["call_sign"] for e in firnbook(demo, "entries", "--kind", "person")["entries"]}
    for _, _, _, heads, rows, _ in printed:
        assert [row[0] for row in rows] == [str(n + 1) for n in range(len(rows))] and heads[0] == "line"


def test_every_fault_of_typed_sheets_is_named_by_its_line(firnbook, store, tmp_path):
    (tmp_path / "f.csv").write_text("form,sheet,line,time,target,depth cm\nstrikes,A,1,10:61,A,112\nstrikes,A,2,10:05,A,deep\nstrikes,A,2,10:06,A,90\n")
    with pytest.raises(Failed) as refused:
        firnbook(store, "log", "--from", tmp_path / "f.csv", "--day", "2027-02-06", "--by", "Lead")
    for line in [2, 3, 4]:
        assert f"line {line}" in str(refused.value)
    assert firnbook(store, "entries")["entries"] == []
