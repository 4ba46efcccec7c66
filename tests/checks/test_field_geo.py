"""Geodesics against the test lines published with GeographicLib (C. Karney, test set of geographiclib for Python) and against that
library; the drill's grid against PROJ's azimuthal equidistant projection."""

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from geographiclib.test.test_geodesic import GeodesicTest
from pyproj import Proj
from reckon import Refused


def test_published_lines(ask):
    lines = GeodesicTest.testcases
    assert len(lines) >= 20
    for lat1, lon1, azi1, lat2, lon2, azi2, s12, *_ in lines:
        lon1, lon2 = (180 - (180 - lon) % 360 for lon in (lon1, lon2))
        got = ask("field.geodesic", from_lat=lat1, from_lon=lon1, to_lat=lat2, to_lon=lon2)
        assert got["distance_m"] == pytest.approx(s12, abs=1e-7)
        assert (got["bearing_deg"] - azi1 + 180) % 360 - 180 == pytest.approx(0, abs=1e-9)


def test_random_lines_against_the_library(ask):
    rng = np.random.default_rng(12)
    for lat1, lon1, lat2, lon2 in rng.uniform([-90, -180, -90, -180], [90, 180, 90, 180], (200, 4)):
        want = Geodesic.WGS84.Inverse(lat1, lon1, lat2, lon2)
        got = ask("field.geodesic", from_lat=lat1, from_lon=lon1, to_lat=lat2, to_lon=lon2)
        assert got["distance_m"] == pytest.approx(want["s12"], abs=1e-7)


@pytest.mark.parametrize(("lat", "lon"), [(46.5, 9.8), (-43.6, 170.1), (65.0, -179.9999), (-17.0, 179.9999), (89.999, 12.0), (0.0, 0.0)])
def test_grid_within_a_millimetre_over_500_m(ask, lat, lon):
    rng = np.random.default_rng(13)
    plan = Proj(proj="aeqd", lat_0=lat, lon_0=lon, ellps="WGS84")
    for _ in range(60):
        downhill, slope = rng.uniform(0, 360), rng.uniform(0, 60)
        east, north = rng.uniform(-350, 350, 2)
        there_lon, there_lat = plan(east, north, inverse=True)
        right, uphill = np.radians(downhill + 270), np.radians(downhill + 180)
        x = east * np.sin(right) + north * np.cos(right)
        y = (east * np.sin(uphill) + north * np.cos(uphill)) / np.cos(np.radians(slope))
        grid = {"origin_lat": lat, "origin_lon": lon, "downhill_deg": downhill, "slope_deg": slope}
        assert ask("field.to_grid", **grid, lat=there_lat, lon=there_lon) == pytest.approx([x, y], abs=1e-3)
        back_lat, back_lon = ask("field.to_lat_lon", **grid, x_m=x, y_m=y)
        assert Geodesic.WGS84.Inverse(back_lat, back_lon, there_lat, there_lon)["s12"] < 1e-3


def test_no_place_is_refused(ask):
    grid = {"origin_lat": 46.5, "origin_lon": 9.8, "downhill_deg": 0, "slope_deg": 30}
    for lat, lon, why in ((90.1, 0, "latitude"), (0, 180.1, "longitude"), (9.8, 46.5, "distance")):
        with pytest.raises(Refused, match=why):
            ask("field.to_grid", **grid, lat=lat, lon=lon)
