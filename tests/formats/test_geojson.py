"""GeoJSON against the text of RFC 7946: structure by a validator, shapes by shapely, order of rings, order of coordinates and the cut at the
antimeridian by reading the sections named."""

import json
import math
from pathlib import Path

import pytest
from conftest import filled
from shapely.geometry import LineString, shape


def day(lat, lon):
    """A drill with an outline that is drawn clockwise, tracks that leave a gap, targets and strikes."""
    at = "2027-02-06T10:%s.000+01:00"
    t0 = 1801904400000 + 5 * 60 * 1000
    walk = {"t_ms": [t0] + [1000] * 60, "x": [10.0] + [0.0] * 60, "y": [0.0] + [1.0] * 60}
    return [
        {"kind": "drill", "at": at % "00:00", "by": "Lead", "label": "1", "team": "Red", "slope_deg": 25, "downhill_deg": 200,
         "origin_lat": lat, "origin_lon": lon, "outline": [[-60, 0], [-60, 120], [80, 120], [80, 0]]},
        {"kind": "target", "at": at % "00:00", "by": "Lead", "drill": "1", "label": "A", "x_m": 12.4, "y_m": 50, "set_depth_cm": 110},
        {"kind": "moment", "at": at % "05:00", "by": "Lead", "drill": "1", "step": "start"},
        {"kind": "track", "at": at % "05:00", "by": "Fox", "drill": "1", "person": "Fox", "points": walk, "frame": "grid"},
        {"kind": "strike", "at": at % "08:00", "by": "Fox", "drill": "1", "target": "A", "outcome": "hit", "x_m": 12.6, "y_m": 50.2},
        {"kind": "moment", "at": at % "09:00", "by": "Lead", "drill": "1", "step": "end"},
    ]


@pytest.fixture(params=[(46.5, 9.8), (-16.9, 179.9999), (68.0, -179.9999)], ids=["alps", "across the antimeridian", "from the east"])
def shapes(request, firnbook, tmp_path):
    lat, lon = request.param
    store = filled(firnbook, tmp_path / "store", [("2027-02-06", "Upper Bowl", day(lat, lon))], tmp_path)
    answer = firnbook(store, "export", "--format", "geojson", "-o", tmp_path / "out", "--full")
    tables = {t["name"]: json.loads((tmp_path / "out" / f"{t['name']}.geojson").read_text()) for t in answer["tables"]}
    return lat, lon, tables


def positions(geometry):
    def walk(part):
        if isinstance(part[0], (int, float)):
            yield part
        else:
            for inner in part:
                yield from walk(inner)

    return list(walk(geometry["coordinates"]))


def polygons(geometry):
    return {"Polygon": lambda c: [c], "MultiPolygon": lambda c: c}.get(geometry["type"], lambda c: [])(geometry["coordinates"])


def test_every_shape_is_what_the_rfc_asks_for(shapes):
    lat, lon, tables = shapes
    assert set(tables) == {"outlines", "lanes", "tracks", "targets", "strikes", "gaps"}
    for name, collection in tables.items():
        # Section 3.3 and 4: a collection of features, no other reference system.
        assert collection["type"] == "FeatureCollection" and "crs" not in collection and collection["features"], name
        for feature in collection["features"]:
            assert feature["type"] == "Feature" and feature["properties"]["drill"] == "1", name
            geometry = feature["geometry"]
            for at in positions(geometry):
                # Section 3.1.1: longitude first; within a kilometre of the drill.
                assert len(at) == 2 and -180 <= at[0] <= 180 and -90 <= at[1] <= 90
                east = (at[0] - lon + 180) % 360 - 180
                assert math.hypot(east * math.cos(math.radians(lat)), at[1] - lat) < 0.01, (name, at)
            for rings in polygons(geometry):
                for n, ring in enumerate(rings):
                    # Section 3.1.6: closed, at least four positions, outer rings counterclockwise, holes clockwise.
                    assert ring[0] == ring[-1] and len(ring) >= 4
                    twice = sum((a[0] - ring[0][0]) * (b[1] - ring[0][1]) - (b[0] - ring[0][0]) * (a[1] - ring[0][1]) for a, b in zip(ring, ring[1:]))
                    assert (twice > 0) == (n == 0), (name, n)
            read = shape(geometry)
            assert read.is_valid and not read.is_empty, (name, read)
            # Section 3.1.9: nothing reaches from one side of the antimeridian to the other.
            for part in getattr(read, "geoms", [read]):
                west, _, east, _ = part.bounds
                assert east - west < 90, (name, part)


def test_the_outline_has_its_area_and_what_crosses_is_cut(shapes):
    lat, lon, tables = shapes
    geometry = tables["outlines"]["features"][0]["geometry"]
    across = abs(lon) > 179
    assert geometry["type"] == ("MultiPolygon" if across else "Polygon")
    metre = math.radians(1) * 6_371_000
    area = shape(geometry).area * metre * metre * math.cos(math.radians(lat))
    # In plan: 140 m times 120 m by the cosine of the slope; the sphere is off by less than a hundredth.
    assert area == pytest.approx(140 * 120 * math.cos(math.radians(25)), rel=0.01)
    target = shape(tables["targets"]["features"][0]["geometry"])
    assert target.distance(shape(tables["strikes"]["features"][0]["geometry"])) < 1e-5
    if not across:
        walked = tables["tracks"]["features"][0]["geometry"]
        assert LineString(walked["coordinates"]).buffer(1e-6).intersects(shape(geometry))


def test_as_usual_the_place_is_rounded_to_a_tenth_of_a_degree(firnbook, tmp_path):
    store = filled(firnbook, tmp_path / "store", [("2027-02-06", "Upper Bowl", day(46.5321, 9.8765))], tmp_path)
    firnbook(store, "export", "--format", "geojson", "-o", tmp_path / "out")
    outline = json.loads((tmp_path / "out" / "outlines.geojson").read_text())["features"][0]
    lons, lats = zip(*positions(outline["geometry"]))
    assert min(abs(x - 9.9) for x in lons) < 0.002 and min(abs(y - 46.5) for y in lats) < 0.002
    assert outline["properties"]["team"].startswith("L-")
    package = json.loads(Path(tmp_path / "out" / "datapackage.json").read_text())
    assert any("tenth of a degree" in text for text in package["removed"])


def test_what_has_no_place_is_said(firnbook, tmp_path):
    lines = [{**line, "origin_lat": None, "origin_lon": None} if line["kind"] == "drill" else line for line in day(46.5, 9.8)]
    lines = [{k: v for k, v in line.items() if v is not None} for line in lines]
    store = filled(firnbook, tmp_path / "store", [("2027-02-06", "Upper Bowl", lines)], tmp_path)
    said = []
    assert firnbook(store, "export", "--format", "geojson", "-o", tmp_path / "out", said=said)["tables"] == []
    assert "drill 1 of 2027-02-06 has no place" in said[0]
