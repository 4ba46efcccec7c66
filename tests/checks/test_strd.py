"""Mean, standard deviation and least squares against the NIST Statistical Reference Datasets (source in strd.py)."""

from decimal import Decimal, localcontext
from fractions import Fraction

import mpmath
import pytest
from strd import LINEAR, UNIVARIATE


def digits(answer, certified):
    """Correct significant digits, as StRD counts them: -log10 of the relative error, 15 if there is none."""
    error = abs(Decimal(answer) - Decimal(certified)) / abs(Decimal(certified))
    return 15.0 if error == 0 else min(15.0, -float(error.log10()))


def exact(values):
    """Mean and standard deviation without any rounding but that of the last square root."""
    values = [Fraction(value) for value in values]
    mean = sum(values) / len(values)
    variance = sum((value - mean) ** 2 for value in values) / (len(values) - 1)
    with localcontext(prec=60):
        return (Decimal(mean.numerator) / Decimal(mean.denominator),
                (Decimal(variance.numerator) / Decimal(variance.denominator)).sqrt())


@pytest.mark.parametrize("name", UNIVARIATE)
def test_the_copy_of_the_set_is_the_certified_one(name):
    data = UNIVARIATE[name]
    mean, sd = exact(data.values)
    assert digits(mean, data.mean) > 14
    assert digits(sd, data.sd) > 14


# NIST certifies for the decimal values; a few sets lose digits when the values are rounded to doubles, before any
# arithmetic starts. So every answer is also held against the exact one for the doubles themselves.
@pytest.mark.parametrize("name, sd_digits", [
    ("Lottery", 14), ("Lew", 14), ("Mavro", 12.9), ("Michelson", 13.5),
    ("NumAcc1", 15), ("NumAcc2", 13.9), ("NumAcc3", 9), ("NumAcc4", 8),
])
def test_mean_and_sd_are_the_certified_ones(ask, name, sd_digits):
    data = UNIVARIATE[name]
    doubles = [float(value) for value in data.values]
    answer = ask("stats.moments", values=doubles)
    assert answer["n"] == len(doubles)
    assert digits(answer["mean"], data.mean) > 14.5
    assert digits(answer["sd"], data.sd) >= sd_digits
    mean, sd = exact(doubles)
    assert digits(answer["mean"], mean) > 14.5
    assert digits(answer["sd"], sd) > 14.5


@pytest.mark.parametrize("name", LINEAR)
def test_the_copy_of_the_linear_set_is_the_certified_one(name):
    data = LINEAR[name]
    with mpmath.workdps(60):
        design = mpmath.matrix([[1, *map(str, row)] for row in zip(*data.terms.values(), strict=True)])
        y = mpmath.matrix([str(value) for value in data.y])
        inverse = (design.T * design) ** -1
        estimates = inverse * (design.T * y)
        residuals = y - design * estimates
        variance = (residuals.T * residuals)[0] / (design.rows - design.cols)
        for k, (estimate, error) in enumerate(data.coefficients):
            assert digits(mpmath.nstr(estimates[k], 30), estimate) > 13.9
            assert digits(mpmath.nstr(mpmath.sqrt(variance * inverse[k, k]), 30), error) > 13.9
        assert digits(mpmath.nstr(mpmath.sqrt(variance), 30), data.residual_sd) > 13.9


@pytest.mark.parametrize("name, least", [("Norris", 12), ("Pontius", 12), ("Longley", 10)])
def test_least_squares_is_the_certified_one(ask, name, least):
    data = LINEAR[name]
    terms = [(term, [float(value) for value in values]) for term, values in data.terms.items()]
    answer = ask("stats.least_squares", y=[float(value) for value in data.y], terms=terms)
    for coefficient, (estimate, error) in zip(answer["coefficients"], data.coefficients, strict=True):
        assert digits(coefficient["estimate"], estimate) > least
        assert digits(coefficient["standard_error"], error) > least
    assert digits(answer["residual_sd"], data.residual_sd) > least
    assert digits(answer["r_squared"], data.r_squared) > 14
