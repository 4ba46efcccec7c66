"""Coverage against shapely (GEOS). Its round buffers are polygons whose area falls short by a share that goes with
1 / quad_segs^2, so two of them are extrapolated (Richardson) to the round one. Lines are buffered step by step, because GEOS
simplifies a line before it buffers it."""

import numpy as np
import pytest
import shapely
from outlines import as_arguments, random_outline
from shapely import LineString, MultiPoint, Polygon, box


def searched(shape, tracks, radius, quad_segs):
    steps = [LineString(pair) if pair[0] != pair[1] else MultiPoint([pair[0]])
             for track in tracks for pair in zip(track, track[1:] or track)]
    return shapely.union_all(shapely.buffer(steps, radius, quad_segs=quad_segs)).intersection(shape)


def round_area(shape, tracks, radius):
    coarse, fine = (searched(shape, tracks, radius, quad_segs).area for quad_segs in (64, 128))
    return fine + (fine - coarse) / 3


def walk(rng, bounds, steps, length):
    """A walk that turns a little at each step and jitters as a receiver does."""
    x0, y0, x1, y1 = bounds
    at, heading, way = rng.uniform([x0, y0], [x1, y1]), rng.uniform(0, 2 * np.pi), []
    for _ in range(steps):
        heading += rng.normal(0, 0.3)
        at = np.clip(at + length * np.array([np.cos(heading), np.sin(heading)]), [x0, y0], [x1, y1])
        way.append((at + rng.normal(0, 0.3, 2)).tolist())
    return way


def check(ask, shape, tracks, radius):
    got = ask("field.coverage", **as_arguments(shape), tracks=tracks, strip_width_m=2 * radius)
    want = round_area(shape, tracks, radius)
    assert got["covered_m2"] == pytest.approx(want, rel=1e-6, abs=1e-6 * shape.area)
    assert got["outline_m2"] == pytest.approx(shape.area, rel=1e-9)
    return got


def test_walks_over_a_field(ask):
    rng = np.random.default_rng(6)
    shape = box(0, 0, 300, 400)
    for radius in (2.0, 7.0, 20.0):
        for _ in range(4):
            check(ask, shape, [walk(rng, shape.bounds, 60, 8.0) for _ in range(3)], radius)


def test_walks_over_odd_outlines(ask):
    rng = np.random.default_rng(7)
    for _ in range(40):
        shape = random_outline(rng)
        tracks = [walk(rng, shape.bounds, int(rng.integers(1, 30)), rng.uniform(1, 10)) for _ in range(rng.integers(1, 4))]
        check(ask, shape, tracks, rng.uniform(1, 30))


def test_ways_along_one_another_and_along_the_edge(ask):
    shape = box(0, 0, 300, 400)
    there = [[20.0, 0.0], [20.0, 400.0]]
    zigzag = [[20.0, 0.0], [20.0, 380.0], [60.0, 380.0], [60.0, 20.0], [100.0, 20.0], [100.0, 400.0]]
    for tracks in ([there, there[::-1], there], [there + there[::-1]], [zigzag], [zigzag, zigzag[::-1], there],
                   [[[0.0, 0.0], [300.0, 0.0]]], [[[50.0, 50.0]], [[50.0, 50.0], [50.0, 50.0]]]):
        check(ask, shape, tracks, 20.0)


def test_gaps_are_what_shapely_leaves(ask):
    rng = np.random.default_rng(8)
    for _ in range(10):
        shape = random_outline(rng)
        tracks = [walk(rng, shape.bounds, 20, 6.0)]
        got = ask("field.coverage", **as_arguments(shape), tracks=tracks, strip_width_m=10.0)
        left = shape.difference(searched(shape, tracks, 5.0, 128))
        gaps = shapely.union_all([Polygon(gap["ring"], gap["holes"]).buffer(0) for gap in got["gaps"]])
        # Polygons within 1 cm of the true edge, specks under 0.01 m2 not listed.
        assert left.symmetric_difference(gaps).area <= 0.012 * left.length + 0.1
        assert all(a["area_m2"] >= b["area_m2"] for a, b in zip(got["gaps"], got["gaps"][1:]))


def test_a_recorded_walk_of_5000_points(ask):
    """Against GEOS' own buffer of the line, which simplifies it: hence the wider tolerance."""
    rng = np.random.default_rng(9)
    shape = box(0, 0, 300, 400)
    track = walk(rng, shape.bounds, 5000, 1.0)
    got = ask("field.coverage", **as_arguments(shape), tracks=[track], strip_width_m=10.0)
    want = LineString(track).buffer(5.0, quad_segs=64).intersection(shape).area
    assert got["covered_m2"] == pytest.approx(want, rel=2e-4)


def test_path_efficiency_is_length_over_distance(ask):
    rng = np.random.default_rng(10)
    track = walk(rng, (0, 0, 300, 400), 200, 2.0)
    line = LineString(track)
    want = line.length / shapely.Point(track[0]).distance(shapely.Point(track[-1]))
    assert ask("field.path_efficiency", track=track) == pytest.approx(want, rel=1e-12)
