"""Ways of measuring a depth against each other, from rows of targets to the answer, against the formulas in numpy and scipy."""

import itertools

import numpy as np
import pytest
import scipy.stats

WAYS = ("reading", "probe", "tape", "set")


def value(way, cm, datum="first_contact"):
    return {"way": way, "datum": datum, "slope_normal_cm": cm}


def targets(random, n):
    """Rows of targets of which each way knows the depth with its own error, and some don't."""
    true = random.uniform(40, 220, n)
    factors = {"reading": 1.26, "probe": 1.0, "tape": 0.98, "set": 1.02}
    known = [{way: float(depth * factors[way] + random.normal(0, 6)) for way in WAYS if random.random() < 0.85} for depth in true]
    return known, [{"values": [value(way, cm) for way, cm in row.items()]} for row in known]


def expected_limits(a, b):
    """Bland and Altman, Statistical Methods in Medical Research 8 (1999) 135-160: limits at 1.96 s, their standard error by t."""
    difference = a - b
    n, bias, sd = len(difference), difference.mean(), difference.std(ddof=1)
    t = scipy.stats.t.ppf(0.975, n - 1)
    se = sd * np.sqrt(1 / n + 1.96**2 / (2 * (n - 1)))
    around = lambda centre, half: [centre - half, centre + half]  # noqa: E731
    return {
        "bias_cm": bias, "sd_cm": sd, "lower_cm": bias - 1.96 * sd, "upper_cm": bias + 1.96 * sd,
        "bias_ci95": around(bias, t * sd / np.sqrt(n)),
        "lower_ci95": around(bias - 1.96 * sd, t * se), "upper_ci95": around(bias + 1.96 * sd, t * se),
    }


def test_each_pair_of_ways(ask):
    random = np.random.default_rng(61)
    for n in (3, 8, 25, 120):
        known, rows = targets(random, n)
        pairs = {(pair["a"], pair["b"]): pair for pair in ask("season.methods", rows=rows)["pairs"]}
        assert list(pairs) == list(itertools.combinations(WAYS, 2))
        for (first, second), pair in pairs.items():
            both = [(row[first], row[second]) for row in known if first in row and second in row]
            assert pair["n"] == len(both)
            if len(both) < 2:
                continue
            a, b = np.array(both).T
            for name, figure in expected_limits(a, b).items():
                assert pair[name] == pytest.approx(figure, rel=1e-9), name
            # Lin, Biometrics 45 (1989) 255-268, variances and covariance with 1 / n.
            lin = 2 * np.cov(a, b, ddof=0)[0, 1] / (a.var() + b.var() + (a.mean() - b.mean()) ** 2)
            assert pair["concordance"] == pytest.approx(lin, rel=1e-9)
            slopes = scipy.stats.theilslopes(a, b)
            assert pair["slope"] == pytest.approx(slopes.slope, rel=1e-9)
            assert pair["intercept_cm"] == pytest.approx(slopes.intercept, rel=1e-9, abs=1e-9)
            ratios = np.sort(a / b)
            assert pair["ratio"]["median"] == pytest.approx(np.median(ratios), rel=1e-12)
            check_median_interval(pair, ratios)


def check_median_interval(pair, ratios):
    """Narrowest symmetric order statistics that cover the median with at least 95 % by the binomial distribution."""
    n = len(ratios)
    ranks = [k for k in range(1, n // 2 + 1) if 1 - 2 * scipy.stats.binom.cdf(k - 1, n, 0.5) >= 0.95]
    if not ranks:
        assert n < 6 and pair["ratio"]["ci95"] is None and "n = " in pair["why"]["ratio_ci95"]
        return
    k = ranks[-1]
    assert pair["ratio"]["ci95"] == pytest.approx([ratios[k - 1], ratios[n - k]], rel=1e-12)
    assert pair["ratio"]["coverage"] == pytest.approx(1 - 2 * scipy.stats.binom.cdf(k - 1, n, 0.5), rel=1e-9)


def test_one_pair_a_target_at_one_point(ask):
    rows = [
        {"values": [value("probe", 100), value("probe", 104), value("tape", 90), value("tape", 140, "airway")]},
        {"values": [value("probe", 80, "airway"), value("tape", 70, "top")]},
    ]
    answer = ask("season.methods", rows=rows + [{"values": [value("probe", 60, "top"), value("tape", 70, "top")]}])
    pair = next(pair for pair in answer["pairs"] if (pair["a"], pair["b"]) == ("probe", "tape"))
    # The medians 102 and 90 to first contact, 60 and 70 to the top; the second target's lead to different points.
    assert (pair["n"], pair["bias_cm"]) == (2, np.mean([12, -10]))
    assert [(left["reason"], left["n"]) for left in answer["left_out"]] == [
        ("probe and tape lead to different points of the target", 1)]


@pytest.mark.parametrize("n", [0, 1, 2])
def test_few_and_equal_values_have_sentences(ask, n):
    rows = [{"values": [value("reading", 50), value("set", 0)]}] * n
    pair = ask("season.methods", rows=rows)["pairs"][2]
    assert (pair["a"], pair["b"], pair["n"]) == ("reading", "set", n)
    assert (pair["bias_cm"] is None) == (n < 2)
    assert pair["slope"] is None and pair["why"]["slope"]
    assert pair["ratio"]["median"] is None and "above 0" in pair["why"]["ratio"]
