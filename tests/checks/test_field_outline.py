"""Outlines against shapely (GEOS): what is sound there is taken and has the same area; what crosses itself is refused."""

import re

import numpy as np
import pytest
from outlines import as_arguments, random_outline
from reckon import Refused
from shapely import LineString, Point, Polygon


def test_sound_outlines_are_taken_with_their_area(ask):
    rng = np.random.default_rng(1)
    for _ in range(300):
        shape = random_outline(rng)
        assert ask("field.outline_area", **as_arguments(shape)) == pytest.approx(shape.area, rel=1e-9)


def test_crossing_outlines_are_refused_at_a_place_where_they_cross(ask):
    rng = np.random.default_rng(2)
    refused = 0
    for _ in range(500):
        points = rng.uniform(0, 100, (rng.integers(4, 8), 2))
        shape = Polygon(points)
        if shape.is_valid:
            assert ask("field.outline_area", outline=points.tolist(), holes=[]) == pytest.approx(shape.area)
            continue
        refused += 1
        with pytest.raises(Refused, match="crosses or touches itself") as error:
            ask("field.outline_area", outline=points.tolist(), holes=[])
        x, y = map(float, re.search(r"x (\S+) m, y (\S+) m", str(error.value)).groups())
        edges = [LineString([a, b]) for a, b in zip(points, np.roll(points, -1, axis=0))]
        assert sum(edge.distance(Point(x, y)) < 1e-6 for edge in edges) >= 2
    assert refused > 100
