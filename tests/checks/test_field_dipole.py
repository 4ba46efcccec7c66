"""The transmitter's field against magpylib's dipole; the strongest place on the surface against scipy's minimiser on that field;
the way along a flux line against scipy's quadrature."""

import magpylib
import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import minimize


def magpylib_field(moment, place):
    return magpylib.misc.Dipole(moment=moment).getH(place)


def test_vectors(ask):
    rng = np.random.default_rng(14)
    for _ in range(200):
        moment, place = rng.normal(0, 3e-3, 3), rng.uniform(-30, 30, 3)
        got = ask("field.dipole", moment_a_m2=moment.tolist(), from_dipole_m=place.tolist())
        want = magpylib_field(moment, place)
        assert got == pytest.approx(want, rel=1e-9, abs=1e-9 * np.linalg.norm(want))


def tilted(tilt_deg):
    return np.array([np.cos(np.radians(tilt_deg)), 0.0, np.sin(np.radians(tilt_deg))])


def reading(moment, place):
    """Distance at which the coaxial field 2 m / (4 pi r^3) is as strong."""
    return np.cbrt(2 / (4 * np.pi * np.linalg.norm(magpylib_field(moment, place))))


def test_readings_on_the_surface(ask):
    rng = np.random.default_rng(15)
    for depth, tilt, x, y in rng.uniform([0.3, 0, -5, -5], [4, 90, 5, 5], (200, 4)):
        got = ask("field.reading", depth_cm=100 * depth, tilt_deg=tilt, x_m=x, y_m=y)
        assert got == pytest.approx(reading(tilted(tilt), [x, y, depth]), rel=1e-9)


@pytest.mark.parametrize("tilt", [0.0, 1.0, 5.0, 12.529, 20.0, 45.0, 70.0, 89.0, 90.0])
def test_strongest_place(ask, tilt):
    depth = 1.6
    got = ask("field.surface_reading", depth_cm=100 * depth, tilt_deg=tilt)
    found = min((minimize(lambda at: reading(tilted(tilt), [*at, depth]), start, method="Nelder-Mead",
                          options={"xatol": 1e-7, "fatol": 1e-13, "maxiter": 2000})
                 for start in ([0.3, 0.1], [-0.8, -0.2])), key=lambda result: result.fun)
    assert got["lowest_m"] == pytest.approx(found.fun, abs=1e-9)
    [place] = got["maxima"]
    # Over a flat transmitter the reading rises with the fourth power of the offset: the minimiser is blunt there.
    assert [place["x_m"], place["y_m"]] == pytest.approx(found.x, abs=2e-2 if tilt == 0 else 1e-4)


def test_way_along_a_flux_line(ask):
    def step(theta):
        return np.sin(theta) * np.sqrt(1 + 3 * np.cos(theta) ** 2)

    for theta_deg in (5.0, 30.0, 45.0, 60.0, 90.0):
        theta = np.radians(theta_deg)
        straight = np.sin(theta) ** 2
        want = [quad(step, 0, theta)[0] / straight, quad(step, theta, np.pi)[0] / straight]
        assert ask("field.flux_line_way", theta_deg=theta_deg) == pytest.approx(want, rel=1e-9)
