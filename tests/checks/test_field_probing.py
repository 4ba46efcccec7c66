"""Chances of detection against a fold done by shapely (GEOS): all copies of a body that reach a cell, united, cut to
the cell; the mean over angles by scipy and by a fine sum."""

import itertools
import math

import numpy as np
import pytest
import shapely
from scipy.integrate import quad
from shapely import Point, affinity, box

LATTICES = [(50.0, 50.0), (60.0, 70.0), (75.0, 70.0), (25.0, 25.0), (30.0, 110.0)]
BODIES = [(170.0, 45.0), (170.0, 30.0), (50.0, 30.0), (20.0, 10.0)]


def folded(shape, across, along, shifts=((0.0, 0.0),)):
    """Share of the cell that the copies of a shape round its middle cover."""
    x0, y0, x1, y1 = shape.bounds
    columns, rows = (math.ceil(max(abs(low), abs(high)) / cell) + 1
                     for low, high, cell in ((x0, x1, across), (y0, y1, along)))
    copies = [affinity.translate(shape, column * across + x, row * along + y)
              for x, y in shifts
              for column, row in itertools.product(range(-columns, columns + 2), range(-rows, rows + 2))]
    cell = box(0, 0, across, along)
    return shapely.union_all([copy.intersection(cell) for copy in copies if copy.intersects(cell)]).area / cell.area


def body(length, width, angle_deg):
    return affinity.rotate(box(-length / 2, -width / 2, length / 2, width / 2), angle_deg)


def test_at_one_angle(ask):
    rng = np.random.default_rng(11)
    for (across, along), (length, width) in itertools.product(LATTICES, BODIES):
        for angle in [0.0, 90.0, 45.0, *rng.uniform(0, 180, 8)]:
            got = ask("field.pod_at_angle", across_cm=across, along_cm=along, length_cm=length, width_cm=width, angle_deg=angle)
            assert got == pytest.approx(folded(body(length, width, angle), across, along), abs=1e-9)


@pytest.mark.parametrize(("across", "along"), LATTICES[:3])
@pytest.mark.parametrize(("length", "width"), BODIES[:3])
def test_over_all_angles(ask, across, along, length, width):
    angles = (np.arange(300) + 0.5) * 90 / 300
    pods = np.array([folded(body(length, width, angle), across, along) for angle in angles])
    moved = np.array([folded(body(length, width, angle), across / 2, along) for angle in angles])
    got = ask("field.pod", across_cm=across, along_cm=along, length_cm=length, width_cm=width, passes=2)
    assert got["any_orientation"] == pytest.approx(pods.mean(), abs=5e-5)
    assert got["passes"][1]["independent"] == pytest.approx((1 - (1 - pods) ** 2).mean(), abs=5e-5)
    assert got["passes"][1]["shifted"] == pytest.approx(moved.mean(), abs=5e-5)


def test_over_all_angles_by_quadrature(ask):
    for length, width, across, along in ((170.0, 45.0, 50.0, 50.0), (50.0, 30.0, 50.0, 50.0)):
        want, _ = quad(lambda angle: folded(body(length, width, angle), across, along) / 90, 0, 90,
                       epsabs=1e-6, limit=200)
        got = ask("field.pod", across_cm=across, along_cm=along, length_cm=length, width_cm=width, passes=1)
        assert got["any_orientation"] == pytest.approx(want, abs=1e-5)


def test_second_pass_moved_both_ways(ask):
    angles = (np.arange(300) + 0.5) * 90 / 300
    for length, width in BODIES[1:3]:
        shifts = ((0.0, 0.0), (25.0, 25.0))
        want = np.mean([folded(body(length, width, angle), 50.0, 50.0, shifts) for angle in angles])
        got = ask("field.staggered_pod", across_cm=50.0, along_cm=50.0, length_cm=length, width_cm=width)
        assert got == pytest.approx(want, abs=5e-5)


def test_circles(ask):
    for (across, along), radius in itertools.product(LATTICES, (5.0, 12.5, 20.0, 30.0, 40.0, 60.0)):
        shape = Point(0, 0).buffer(radius, quad_segs=2000)
        got = ask("field.pod", across_cm=across, along_cm=along, radius_cm=radius, passes=1)
        assert got["any_orientation"] == pytest.approx(folded(shape, across, along), abs=1e-6)
