"""Lanes against brute force on 1,000 random outlines: distances of points to the lanes' segments, and the strips cut by shapely (GEOS)."""

import math

import numpy as np
import pytest
import shapely
from outlines import as_arguments, random_outline
from shapely import LineString, MultiLineString, box


def points_of(shape, rng, n):
    """Corners, points along the edges, and points within."""
    edge = [shape.boundary.interpolate(share, normalized=True) for share in rng.uniform(0, 1, n)]
    x0, y0, x1, y1 = shape.bounds
    around = shapely.points(rng.uniform([x0, y0], [x1, y1], (4 * n, 2)))
    return np.r_[shapely.points(shapely.get_coordinates(shape)), edge, around[shapely.contains(shape, around)]]


def joined(spans):
    """Overlapping or touching spans as one, sorted."""
    out = []
    for low, high in sorted(spans):
        if out and low <= out[-1][1] + 1e-9:
            out[-1][1] = max(out[-1][1], high)
        else:
            out.append([low, high])
    return out


def test_no_point_is_farther_than_promised(ask):
    rng = np.random.default_rng(3)
    tight = 0
    for _ in range(1000):
        shape = random_outline(rng)
        spacing, edge = rng.uniform(2, 60), rng.uniform(0, 30)
        x0, y0, x1, y1 = shape.bounds
        width = x1 - x0
        plan = ask("field.lanes", **as_arguments(shape), spacing_m=spacing, edge_m=edge, searchers=int(rng.integers(1, 6)))
        lanes = plan["lanes"]

        # The rule of the offsets, computed anew (common practice, no source).
        count = 1 if width <= 2 * edge else math.ceil((width - 2 * edge) / spacing - 1e-3 / spacing) + 1
        assert abs(len(lanes) - count) <= (abs((width - 2 * edge) / spacing % 1) < 2e-3 / spacing)
        if len(lanes) == 1:
            promised = width / 2
        else:
            between = (width - 2 * edge) / (len(lanes) - 1)
            assert between <= spacing + 1e-3
            promised = max(between / 2, edge)

        walked = MultiLineString([[(lane["x_m"], s["from_y_m"]), (lane["x_m"], s["to_y_m"])]
                                  for lane in lanes for s in lane["segments"]])
        farthest = shapely.distance(points_of(shape, rng, 100), walked).max()
        assert farthest <= promised + 1e-6
        tight += farthest > 0.95 * promised
    # The promise is no idle one: in most outlines some point needs nearly all of it.
    assert tight > 500


def test_a_lane_is_as_long_as_its_strip_and_says_what_lies_outside(ask):
    rng = np.random.default_rng(4)
    for _ in range(300):
        shape = random_outline(rng)
        x0, y0, x1, y1 = shape.bounds
        plan = ask("field.lanes", **as_arguments(shape), spacing_m=25.0, edge_m=10.0, searchers=2)
        lanes = plan["lanes"]
        at = [lane["x_m"] for lane in lanes]
        bounds = [x0, *[(a + b) / 2 for a, b in zip(at, at[1:])], x1]
        for lane, left, right in zip(lanes, bounds, bounds[1:]):
            strip = shapely.get_parts(shape.intersection(box(left, y0 - 1, right, y1 + 1)))
            areas = [part for part in strip if part.geom_type == "Polygon"]
            want = joined([(part.bounds[1], part.bounds[3]) for part in areas])
            got = joined([(s["from_y_m"], s["to_y_m"]) for s in lane["segments"]])
            assert lane["length_m"] == pytest.approx(sum(high - low for low, high in want), abs=1e-5)
            assert got[0][0] == pytest.approx(want[0][0], abs=1e-5)
            assert got[-1][1] == pytest.approx(want[-1][1], abs=1e-5)
            inside = LineString([(lane["x_m"], y0 - 1), (lane["x_m"], y1 + 1)]).intersection(shape).length
            assert lane["outside_m"] == pytest.approx(lane["length_m"] - inside, abs=1e-5)


def test_longest_walk_against_the_way_walked_point_by_point(ask):
    rng = np.random.default_rng(5)
    for _ in range(200):
        shape = random_outline(rng)
        plan = ask("field.lanes", **as_arguments(shape), spacing_m=20.0, edge_m=10.0, searchers=3)
        walks = []
        for who in (1, 2, 3):
            way = []
            for lane in plan["lanes"]:
                if lane["searcher"] == who:
                    ends = [(lane["x_m"], y) for s in lane["segments"] for y in (s["from_y_m"], s["to_y_m"])]
                    way += ends if lane["pass"] % 2 else ends[::-1]
            walks.append(LineString(way).length if len(way) > 1 else 0.0)
        assert plan["longest_walk_m"] == pytest.approx(max(walks), abs=1e-9)
        assert plan["passes"] == math.ceil(len(plan["lanes"]) / 3)
