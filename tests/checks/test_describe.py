"""Description of a sample and its intervals against numpy, scipy and statsmodels."""

import math

import numpy as np
import pytest
import scipy.stats
import statsmodels.api
from reckon import Refused


def samples(seed, count=60):
    """Samples of many sizes and shapes, with and without ties."""
    random = np.random.default_rng(seed)
    for index in range(count):
        n = int(random.integers(2, 400))
        values = [random.normal(120, 40, n), random.lognormal(3, 1, n), random.integers(50, 70, n) * 1.0,
                  random.normal(1e6, 1e-3, n), random.exponential(1e-5, n)][index % 5]
        yield values


def test_quantiles_are_those_of_numpy_to_the_last_bit(ask):
    shares = [0, 0.01, 0.1, 0.25, 1 / 3, 0.5, 0.75, 0.9, 0.999, 1]
    for values in samples(1):
        assert ask("stats.quantiles", values=values.tolist(), shares=shares) == np.quantile(values, shares).tolist()
        assert ask("stats.median", values=values.tolist()) == np.median(values)


def test_summary(ask):
    for values in samples(2):
        answer = ask("stats.summary", values=values.tolist())
        assert answer["n"] == len(values)
        assert answer["mean"] == pytest.approx(values.mean(), rel=1e-14)
        assert answer["sd"] == pytest.approx(float(values.astype(np.longdouble).std(ddof=1)), rel=1e-12)
        assert (answer["min"], answer["max"]) == (values.min(), values.max())
        assert list(answer["quantiles"].values()) == np.quantile(values, [0.1, 0.25, 0.75, 0.9]).tolist()


def test_bins_are_those_of_numpy(ask):
    for values in samples(3):
        first, third = np.quantile(values, [0.25, 0.75])
        edges = np.histogram_bin_edges(values, "fd" if third > first else "sturges")
        answer = ask("stats.histogram", values=values.tolist())
        if len(edges) > 201:
            edges = np.histogram_bin_edges(values, 200)
        assert answer["edges"] == pytest.approx(edges.tolist(), rel=1e-15)
        assert answer["counts"] == np.histogram(values, edges)[0].tolist()


def test_bins_without_a_middle_spread_are_those_of_sturges(ask):
    for n in (8, 9, 16, 33, 64, 100):
        values = [100.0] * (n - 1) + [250.0]
        edges = np.histogram_bin_edges(values, "sturges")
        assert ask("stats.histogram", values=values)["edges"] == pytest.approx(edges.tolist(), rel=1e-15)


def test_a_value_on_an_edge_falls_into_the_upper_bin_but_at_the_end(ask):
    values = [100.0] * 13 + [130.0, 220.0, 250.0]
    edges = np.histogram_bin_edges(values, "sturges")
    answer = ask("stats.histogram", values=values)
    assert answer["edges"] == [100, 130, 160, 190, 220, 250] == edges.tolist()
    assert answer["counts"] == np.histogram(values, edges)[0].tolist() == [13, 1, 0, 0, 2]


def test_bins_are_at_most_200(ask):
    values = list(range(1000)) + [1e7]
    answer = ask("stats.histogram", values=values)
    assert len(np.histogram_bin_edges(values, "fd")) > 201
    assert answer["edges"] == pytest.approx(np.linspace(0, 1e7, 201).tolist())
    assert sum(answer["counts"]) == 1001


def test_equal_values_have_one_bin(ask):
    answer = ask("stats.histogram", values=[7.0, 7.0, 7.0])
    assert answer["edges"] == np.histogram_bin_edges([7.0, 7.0, 7.0], "fd").tolist()
    assert answer["counts"] == [3]


def test_empirical_distribution(ask):
    for values in samples(4):
        curve = scipy.stats.ecdf(values).cdf
        answer = ask("stats.ecdf", values=values.tolist())
        assert [point["value"] for point in answer] == curve.quantiles.tolist()
        assert [point["share"] for point in answer] == pytest.approx(curve.probabilities.tolist(), rel=1e-12)
    many = np.random.default_rng(5).normal(size=20_000)
    answer = ask("stats.ecdf", values=many.tolist())
    curve = scipy.stats.ecdf(many).cdf
    assert len(answer) == 512
    for point in answer:
        assert point["share"] == pytest.approx(curve.evaluate(point["value"]), rel=1e-12)
    assert (answer[0]["value"], answer[-1]["value"]) == (many.min(), many.max())


def test_t_interval_of_a_mean(ask):
    for values in samples(6):
        lower, upper = scipy.stats.t.interval(0.95, len(values) - 1, values.mean(), scipy.stats.sem(values))
        answer = ask("stats.mean_interval", values=values.tolist())
        assert answer == pytest.approx([lower, upper], rel=1e-9)


@pytest.mark.parametrize("n", [2, 3, 4, 6, 11, 31, 101, 499, 500, 501, 502, 1001, 5001, 100_001])
def test_t_point(ask, n):
    values = [0.0, 1.0] * (n // 2) + [0.5] * (n % 2)
    lower, upper = ask("stats.mean_interval", values=values)
    point = (upper - lower) / 2 / (np.std(values, ddof=1) / math.sqrt(n))
    assert point == pytest.approx(scipy.stats.t.ppf(0.975, n - 1), rel=2e-12)


def test_mean_robust_to_clusters_is_that_of_statsmodels(ask):
    random = np.random.default_rng(7)
    for _ in range(30):
        groups = int(random.integers(2, 20))
        clusters = np.concatenate([np.arange(groups), random.integers(0, groups, int(random.integers(1, 200)))])
        values = random.normal(100, 30, groups)[clusters] + random.normal(0, 10, len(clusters))
        model = statsmodels.api.OLS(values, np.ones_like(values))
        fit = model.fit(cov_type="cluster", cov_kwds={"groups": clusters}, use_t=True)
        answer = ask("stats.clustered_mean", values=values.tolist(), clusters=clusters.tolist())
        assert answer["clusters"] == groups
        assert answer["mean"] == pytest.approx(fit.params[0], rel=1e-12)
        assert answer["standard_error"] == pytest.approx(fit.bse[0], rel=1e-10)
        assert answer["mean_ci95"] == pytest.approx(fit.conf_int()[0].tolist(), rel=1e-10)


@pytest.mark.parametrize("n", [*range(1, 80), 500, 1001, 20_000])
def test_interval_of_a_median_is_the_largest_binomial_rank(ask, n):
    answer = ask("stats.median_interval", values=list(range(1, n + 1)))
    coverage = {rank: 1 - 2 * scipy.stats.binom.cdf(rank - 1, n, 0.5) for rank in range(1, n // 2 + 1)}
    ranks = [rank for rank, share in coverage.items() if share >= 0.95]
    if n < 6:
        assert answer is None and not ranks
        return
    rank = max(ranks)
    assert answer["rank"] == rank
    assert answer["ci95"] == [rank, n + 1 - rank]
    assert answer["coverage"] == pytest.approx(coverage[rank], rel=1e-10)


def test_share_with_its_interval(ask):
    # Wilson interval of 7 in 10; source: E. B. Wilson (1927), its formula worked to three places: 0.397 to 0.892.
    assert ask("stats.share", k=7, n=10)["ci95"] == pytest.approx([0.397, 0.892], abs=5e-4)
    for n in (1, 2, 9, 30, 1000):
        for k in sorted({0, 1, n // 3, n // 2, n}):
            expected = scipy.stats.binomtest(k, n).proportion_ci(0.95, "wilson")
            answer = ask("stats.share", k=k, n=n)
            assert answer["share"] == k / n
            assert answer["ci95"] == pytest.approx([expected.low, expected.high], rel=1e-12, abs=1e-15)


def test_what_cannot_be_computed_is_refused_with_the_reason(ask):
    with pytest.raises(Refused, match="at least 1 values and there are 0"):
        ask("stats.moments", values=[])
    with pytest.raises(Refused, match="value 1 is"):
        ask("stats.moments", values=[1, 1e200])
    with pytest.raises(Refused, match="at least 2 values and there are 1"):
        ask("stats.mean_interval", values=[1])
    with pytest.raises(Refused, match="all values are of one cluster"):
        ask("stats.clustered_mean", values=[1, 2, 3], clusters=[4, 4, 4])
    with pytest.raises(Refused, match="it must be at most"):
        ask("stats.share", k=3, n=2)
