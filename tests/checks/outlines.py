"""Random outlines for the checks of lanes and coverage: concave, forked, with holes, slivers. Sound by shapely."""

import numpy as np
from shapely import Polygon, affinity


def star(rng, corners, size, rough):
    """A ring round the origin, corner distances lognormal: the rougher, the deeper its bays and the longer its spikes."""
    angles = np.sort(rng.uniform(0, 2 * np.pi, corners))
    radii = size * np.exp(rough * rng.normal(size=corners))
    return Polygon(np.c_[radii * np.cos(angles), radii * np.sin(angles)])


def comb(rng):
    """Teeth of random width and length, upwards."""
    x, points = 0.0, [(0.0, 0.0)]
    for _ in range(rng.integers(2, 7)):
        wide, apart, high = rng.uniform(1, 40), rng.uniform(1, 40), rng.uniform(5, 150)
        points += [(x, high), (x + wide, high), (x + wide, 3.0), (x + wide + apart, 3.0)]
        x += wide + apart
    return Polygon(points + [(x, 0.0)])


def random_outline(rng):
    """One outline of a random sort, moved and turned."""
    while True:
        sort = rng.integers(4)
        if sort == 0:
            shape = comb(rng)
        else:
            shape = star(rng, rng.integers(3, 40), rng.uniform(5, 150), rng.choice([0.1, 0.4, 0.8]))
        if sort == 1:
            shape = affinity.scale(shape, 1.0, rng.uniform(0.001, 0.05))
        shape = affinity.rotate(shape, rng.uniform(0, 360))
        shape = affinity.translate(shape, *rng.uniform(-500, 500, 2))
        if sort == 2:
            hole = affinity.scale(shape, *rng.uniform(0.1, 0.9, 2))
            if shape.contains_properly(hole):
                shape = Polygon(shape.exterior, [hole.exterior])
        if shape.is_valid and shape.area > 0.1 and shape.geom_type == "Polygon":
            return shape


def as_arguments(shape):
    """The outline as `reckon` takes it."""
    def ring(line):
        return [list(point) for point in line.coords[:-1]]

    return {"outline": ring(shape.exterior), "holes": [ring(hole) for hole in shape.interiors]}
