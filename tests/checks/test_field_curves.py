"""Survival curves against numpy's interpolation, scipy's quadrature, and the line equations of the piecewise restatement of
Falk, Brugger, Adler-Kastner, Nature 368:21, 1994 (read in another text)."""

import numpy as np
import pytest
from scipy.integrate import quad

NAMES = ["Switzerland 1981-1991", "Switzerland as used in 2011", "Canada 1980-2005", "Switzerland 1981-2020"]

# From, to (min): per cent = a + b t.
EQUATIONS = [(0, 15, 100, -0.533), (15, 35, 138.5, -3.1), (35, 90, 31.909, -0.0545), (90, 120, 48, -0.233), (120, 130, 224, -1.7)]


def test_the_equations_of_the_curve_of_1994(ask):
    for start, end, a, b in EQUATIONS:
        for minutes in np.linspace(start, end, 11):
            assert ask("field.survival", curve=NAMES[0], minutes=minutes) == pytest.approx(a + b * minutes, abs=0.04)


@pytest.mark.parametrize("name", NAMES)
def test_values_and_means(ask, name):
    times, shares = np.transpose(ask("field.survival_nodes", curve=name))
    rng = np.random.default_rng(16)
    for start, end in np.sort(rng.uniform(times[0], times[-1], (20, 2))):
        assert ask("field.survival", curve=name, minutes=start) == pytest.approx(np.interp(start, times, shares))
        want, _ = quad(np.interp, start, end, args=(times, shares), points=times, limit=200)
        got = ask("field.survival_mean", curve=name, from_min=start, to_min=end)
        assert got == pytest.approx(want / (end - start), rel=1e-7)


def test_nothing_beyond_the_source(ask):
    assert ask("field.survival", curve=NAMES[2], minutes=35.1) is None
    assert ask("field.survival", curve=NAMES[3], minutes=9.9) is None
    assert ask("field.survival_mean", curve=NAMES[3], from_min=5, to_min=20) is None
    assert ask("field.survival", curve=NAMES[0], minutes=200) == 3
