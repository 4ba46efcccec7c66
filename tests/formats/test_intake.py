"""What comes in, against what others write: GPX by gpxpy, CSV by the cases of RFC 4180 and by Python's csv module."""

import csv
import io
from datetime import datetime, timedelta, timezone

import gpxpy
import gpxpy.gpx
import pytest
from conftest import Failed


@pytest.fixture
def store(firnbook, tmp_path):
    firnbook(tmp_path / "store", "day", "new", "--area", "Upper Bowl", "--date", "2027-02-06", "--by", "Lead")
    return tmp_path / "store"


def entries(firnbook, store, kind):
    return [e["entry"] for e in firnbook(store, "entries", "--kind", kind)["entries"]]


def absolute(deltas):
    out, now = [], 0
    for step in deltas:
        now += step
        out.append(now)
    return out


@pytest.mark.parametrize("version", ["1.1", "1.0"])
@pytest.mark.parametrize("zone", [timezone.utc, timezone(timedelta(hours=1))], ids=["utc", "offset"])
def test_a_track_that_gpxpy_writes_comes_in_point_by_point(firnbook, store, tmp_path, version, zone):
    gpx = gpxpy.gpx.GPX()
    begin = datetime(2027, 2, 6, 9, 5, 0, 250_000, tzinfo=timezone.utc).astimezone(zone)
    for piece in range(2):
        track = gpxpy.gpx.GPXTrack(name=f"<walk> & {piece}")
        gpx.tracks.append(track)
        segment = gpxpy.gpx.GPXTrackSegment()
        track.segments.append(segment)
        for n in range(200):
            at = begin + timedelta(seconds=1000 * piece + n)
            segment.points.append(gpxpy.gpx.GPXTrackPoint(-46.5 + n * 1e-5, 179.9995 + n * 1e-6, elevation=2000 + n, time=at))
    gpx.waypoints.append(gpxpy.gpx.GPXWaypoint(46.5, 9.8, name="strike & mark", time=begin))
    file = tmp_path / "walk.gpx"
    file.write_text(gpx.to_xml(version=version))
    words = ["import", "gpx", file, "--person", "Fox", "--drill", "1", "--day", "2027-02-06", "--by", "Lead"]
    assert firnbook(store, *words)["written"] == 3
    assert firnbook(store, *words)["known"] == 3
    read = gpxpy.parse(file.read_text())
    for track, told in zip(read.tracks, entries(firnbook, store, "track")):
        want = track.segments[0].points
        assert told["person"] == "Fox" and told["frame"] == "lonlat_e7"
        assert absolute(told["points"]["t_ms"]) == [round(p.time.timestamp() * 1000) for p in want]
        assert absolute(told["points"]["x"]) == [round(p.longitude * 1e7) for p in want]
        assert absolute(told["points"]["y"]) == [round(p.latitude * 1e7) for p in want]
    [note] = entries(firnbook, store, "note")
    assert (note["note"], note["lat"], note["lon"]) == ("strike & mark", 46.5, 9.8)


# Source: RFC 4180, section 2, rules 1 to 7, with this log's columns.
@pytest.mark.parametrize(
    "text, notes",
    [
        ("kind,at,note\r\nnote,10:00,aaa\r\nnote,10:01,bbb\r\n", ["aaa", "bbb"]),
        ("kind,at,note\r\nnote,10:00,aaa\r\nnote,10:01,bbb", ["aaa", "bbb"]),
        ('kind,at,note\r\n"note","10:00","aaa"\r\nnote,10:01,bbb\r\n', ["aaa", "bbb"]),
        ('kind,at,note\r\nnote,10:00,"b \r\nbb"\r\nnote,10:01,zzz\r\n', ["b \r\nbb", "zzz"]),
        ('kind,at,note\r\nnote,10:00,"b""bb"\r\n', ['b"bb']),
        ('kind,at,note\r\nnote,10:00,"a,b"\r\n', ["a,b"]),
    ],
)
def test_the_cases_of_rfc_4180(firnbook, store, tmp_path, text, notes):
    file = tmp_path / "f.csv"
    file.write_bytes(text.encode())
    firnbook(store, "log", "--from", file, "--day", "2027-02-06", "--by", "Lead")
    assert [n["note"] for n in entries(firnbook, store, "note")] == [n.strip() for n in notes]
    # And what leaves is read by another reader as it came in.
    firnbook(store, "export", "--format", "csv", "--full", "-o", tmp_path / "out")
    with (tmp_path / "out" / "note.csv").open(newline="") as lines:
        assert [row["note"] for row in csv.DictReader(lines)] == [n.strip() for n in notes]


@pytest.mark.parametrize("dialect", [dict(delimiter=";"), dict(delimiter="\t"), dict(quoting=csv.QUOTE_ALL), dict(lineterminator="\n")])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be"])
def test_what_spreadsheets_write_is_one_and_the_same(firnbook, store, tmp_path, dialect, encoding):
    rows = [["kind", "at", "drill", "depth_cm", "lowest_reading_m", "note"],
            ["strike", "10:08:20", "1", "112", "1,3" if dialect.get("delimiter") else "1.3", 'ü; "q", Ω'],
            ["strike", "2027-02-06 10:09:20", "1", "1.1m", "", "x"]]
    text = io.StringIO()
    csv.writer(text, **dialect).writerows(rows)
    file = tmp_path / "f.csv"
    file.write_bytes(text.getvalue().encode(encoding))
    said = []
    firnbook(store, "log", "--from", file, "--day", "2027-02-06", "--by", "Lead", said=said)
    told = [(s["depth_cm"], s.get("lowest_reading_m"), s["note"]) for s in entries(firnbook, store, "strike")]
    assert told == [(112, 1.3, 'ü; "q", Ω'), (110, None, "x")]
    assert ("UTF-16" in said[0]) == ("16" in encoding)


def test_lines_beyond_all_bounds_are_refused_in_bounded_memory(firnbook, store, tmp_path):
    file = tmp_path / "long.csv"
    with file.open("wb") as out:
        out.write(b"kind,at,note\nnote,10:00,")
        out.truncate(1 << 30)
    with pytest.raises(Failed, match="larger than 256 MiB"):
        firnbook(store, "log", "--from", file, "--day", "2027-02-06", "--by", "Lead")
    assert entries(firnbook, store, "note") == []
