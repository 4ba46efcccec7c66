"""Agreement of two methods, robust lines and shifts, and least squares, against the papers, scipy and statsmodels."""

import itertools
import math

import numpy as np
import pytest
import scipy.stats
import statsmodels.api
from reckon import Refused

# Peak expiratory flow, l/min, first readings with two meters. Source: Bland and Altman, Lancet 1 (1986) 307-310, table 1
# (from memory, agreeing with several public copies; the paper's own figures below hold it).
LARGE = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
MINI = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]


def test_the_limits_of_the_1986_paper(ask):
    answer = ask("stats.limits_of_agreement", a=LARGE, b=MINI)
    n, bias, sd = answer["n"], answer["bias"], answer["sd"]
    # Source: the paper's text, all l/min (from memory): mean -2.1, SD 38.8, limits -79.7 to 75.5 at 2 SD, interval of
    # the bias -22.0 to 17.8, of the lower limit -114.3 to -45.1, of the upper 40.9 to 110.1, with sqrt(3 s2 / n).
    assert (n, round(bias, 1), round(sd, 1)) == (17, -2.1, 38.8)
    rounded_bias, rounded_sd = -2.1, 38.8
    lower, upper = rounded_bias - 2 * rounded_sd, rounded_bias + 2 * rounded_sd
    assert (round(lower, 1), round(upper, 1)) == (-79.7, 75.5)
    assert answer["bias_ci95"] == pytest.approx([-22.0, 17.8], abs=0.06)
    half = 2.12 * math.sqrt(3 * rounded_sd**2 / n)
    assert [lower - half, lower + half] == pytest.approx([-114.3, -45.1], abs=0.06)
    assert [upper - half, upper + half] == pytest.approx([40.9, 110.1], abs=0.06)


def pairs(seed, count=40):
    random = np.random.default_rng(seed)
    for index in range(count):
        n = int(random.integers(3, 150))
        b = random.integers(40, 200, n) * 1.0 if index % 2 else random.normal(120, 40, n)
        yield 1.1 * b - 3 + random.integers(-15, 15, n), b


def test_limits_by_the_formula_of_1999(ask):
    for a, b in pairs(21):
        answer = ask("stats.limits_of_agreement", a=a.tolist(), b=b.tolist())
        n, difference = len(a), a - b
        bias, s = difference.mean(), difference.std(ddof=1)
        t = scipy.stats.t.ppf(0.975, n - 1)
        half = t * math.sqrt(s**2 / n + 1.96**2 * s**2 / (2 * (n - 1)))
        assert [answer["bias"], answer["sd"]] == pytest.approx([bias, s], rel=1e-11, abs=1e-12)
        assert [answer["lower"], answer["upper"]] == pytest.approx([bias - 1.96 * s, bias + 1.96 * s], rel=1e-10)
        assert answer["bias_ci95"] == pytest.approx([bias - t * s / n**0.5, bias + t * s / n**0.5], rel=1e-9)
        for limit in ("lower", "upper"):
            middle = answer[limit]
            assert answer[f"{limit}_ci95"] == pytest.approx([middle - half, middle + half], rel=1e-9)


def test_concordance_by_its_formula(ask):
    for a, b in pairs(22):
        covariance = np.cov(a, b, bias=True)
        expected = 2 * covariance[0, 1] / (a.var() + b.var() + (a.mean() - b.mean()) ** 2)
        assert ask("stats.concordance", a=a.tolist(), b=b.tolist()) == pytest.approx(expected, rel=1e-12)


def test_robust_line_is_that_of_scipy(ask):
    for a, b in pairs(23):
        expected = scipy.stats.theilslopes(a, b, 0.95, method="separate")
        answer = ask("stats.theil_sen", a=a.tolist(), b=b.tolist())
        assert answer["slope"] == pytest.approx(expected.slope, rel=1e-14)
        assert answer["intercept"] == pytest.approx(expected.intercept, rel=1e-12, abs=1e-12)
        if answer["slope_ci95"] is None:
            assert len(a) < 5
        else:
            assert answer["slope_ci95"] == [expected.low_slope, expected.high_slope]


def test_robust_line_through_many_points(ask):
    random = np.random.default_rng(24)
    b = random.integers(30, 250, 2500) * 1.0
    a = 0.9 * b + random.normal(0, 12, len(b))
    expected = scipy.stats.theilslopes(a, b)
    answer = ask("stats.theil_sen", a=a.tolist(), b=b.tolist())
    assert answer["slope"] == pytest.approx(expected.slope, rel=1e-15)
    assert answer["slope_ci95"] == [expected.low_slope, expected.high_slope]


def interval_by_enumeration(a, b):
    """Interval of the shift from every arrangement of the pooled mid-ranks; none if no k is possible."""
    ranks = scipy.stats.rankdata(np.concatenate([a, b]))
    n, differences = len(a), np.sort(np.subtract.outer(a, b).ravel())
    total = len(differences)
    statistics = np.array([sum(choice) - n * (n + 1) / 2 for choice in itertools.combinations(ranks, n)])
    if len(statistics) < 40 or len(set(ranks)) == 1:
        return None

    def largest(tail):
        possible = [k for k in range(1, total + 1) if np.mean(tail(k)) <= 0.025]
        return max(possible, default=0)

    low = largest(lambda k: statistics >= total - k + 1)
    high = largest(lambda k: statistics <= k - 1)
    return [differences[low - 1], differences[total - high]] if low and high else None


def test_shift_and_its_exact_interval(ask):
    random = np.random.default_rng(25)
    none = 0
    for index in range(60):
        n, m = int(random.integers(1, 8)), int(random.integers(2, 8))
        span = 6 if index % 2 else 10_000
        a, b = random.integers(0, span, n) * 1.0, random.integers(0, span, m) * 1.0 + index % 3
        answer = ask("stats.shift", a=a.tolist(), b=b.tolist())
        expected = interval_by_enumeration(a, b)
        none += expected is None
        assert answer["shift"] == np.median(np.subtract.outer(a, b))
        assert answer["ci95"] == expected, (a, b)
    assert 3 < none < 40


def test_exact_interval_has_the_tabled_rank(ask):
    # Critical values of the Mann-Whitney statistic, two-sided 5 %: U <= 23 for n = m = 10, U <= 2 for n = m = 5.
    # Source: tables in Siegel, Nonparametric Statistics (1956) (from memory), and scipy's exact distribution.
    for n, critical in ((10, 23), (5, 2)):
        a, b = [2.0 ** (k + 20) for k in range(n)], [1.5**k for k in range(n)]
        differences = np.sort(np.subtract.outer(a, b).ravel())
        assert ask("stats.shift", a=a, b=b)["ci95"] == [differences[critical], differences[-critical - 1]]


def test_shift_of_large_groups(ask):
    random = np.random.default_rng(26)
    for index in range(60):
        n, m = random.integers(12, 90, 2)
        a, b = random.normal(300, 80, n), random.normal(250, 80, m)
        if index % 2:
            a, b = np.minimum(a, 280), np.round(b, -1 - index % 3)
        differences = np.sort(np.subtract.outer(a, b).ravel())
        counts = np.unique(np.concatenate([a, b]), return_counts=True)[1]
        size = n + m
        variance = n * m / 12 * (size + 1 - (counts**3 - counts).sum() / (size * (size - 1)))
        # Largest k with a normal probability, corrected for continuity, of at most 2.5 % that U <= k - 1.
        ks = np.arange(1, n * m)
        k = ks[scipy.stats.norm.cdf((ks - 1 + 0.5 - n * m / 2) / math.sqrt(variance)) <= 0.025].max()
        answer = ask("stats.shift", a=a.tolist(), b=b.tolist())
        assert answer["shift"] == np.median(differences)
        assert answer["ci95"] == [differences[k - 1], differences[n * m - k]]


def test_least_squares_is_that_of_statsmodels(ask):
    random = np.random.default_rng(27)
    for _ in range(40):
        n = int(random.integers(10, 80))
        depth, people = np.log(random.uniform(40, 200, n)), np.log(random.integers(1, 7, n))
        y = 2 + 1.4 * depth - 0.5 * people + random.normal(0, 0.3, n)
        fit = statsmodels.api.OLS(y, np.column_stack([np.ones(n), depth, people])).fit()
        terms = [("ln depth", depth.tolist()), ("ln people", people.tolist())]
        answer = ask("stats.least_squares", y=y.tolist(), terms=terms)
        found = answer["coefficients"]
        assert answer["df"] == fit.df_resid
        assert [c["estimate"] for c in found] == pytest.approx(fit.params.tolist(), rel=1e-9)
        assert [c["standard_error"] for c in found] == pytest.approx(fit.bse.tolist(), rel=1e-9)
        for coefficient, interval in zip(found, fit.conf_int(), strict=True):
            assert coefficient["ci95"] == pytest.approx(interval.tolist(), rel=1e-8)
        assert answer["residual_sd"] == pytest.approx(math.sqrt(fit.mse_resid), rel=1e-10)
        assert answer["r_squared"] == pytest.approx(fit.rsquared, rel=1e-10)


def test_a_model_that_cannot_be_told_is_refused_by_name(ask):
    depth = [1.0, 2.0, 3.0, 4.0, 5.5]
    with pytest.raises(Refused, match="people is the same in all 5 observations"):
        ask("stats.least_squares", y=[1, 2, 3, 4, 6], terms=[("depth", depth), ("people", [2] * 5)])
    with pytest.raises(Refused, match="people follows from depth"):
        ask("stats.least_squares", y=[1, 2, 3, 4, 6], terms=[("depth", depth), ("people", [3 * d - 1 for d in depth])])
    with pytest.raises(Refused, match="needs at least 3 values and there are 2"):
        ask("stats.least_squares", y=[1, 2], terms=[("depth", [1, 2])])
