"""Digging and interference of a season, from rows of turns and runs to the answer, against numpy, statsmodels and counting out."""

import itertools

import numpy as np
import pytest
import statsmodels.api as sm


def dig(seconds, depth_m, people):
    return {"t_digging_s": 60, "t_airway_s": 60 + seconds, "depth_slope_normal_cm": 100 * depth_m, "people_dug": people}


def test_turns(ask):
    lengths = [240.0, 240.0, 60.0, 60.0, 241.0, 17.5]
    turns = ask("season.digging", turns=[{"length_s": s} for s in lengths], runs=[])["turns"]
    assert (turns["n"], turns["median_s"], turns["longest_s"]) == (6, np.median(lengths), max(lengths))
    assert turns["overdue"] == 1  # strictly longer than the 240 s of the thresholds


def test_model_is_that_of_statsmodels(ask):
    random = np.random.default_rng(71)
    for n in (10, 14, 60):
        depth, people = random.uniform(0.4, 2.2, n), random.integers(1, 7, n)
        seconds = 500 * depth**1.4 / people**0.8 * np.exp(random.normal(0, 0.2, n))
        runs = [dig(float(t), float(d), int(p)) for t, d, p in zip(seconds, depth, people, strict=True)]
        model = ask("season.digging", turns=[], runs=runs)["model"]
        terms = sm.add_constant(np.column_stack([np.log(depth), np.log(people)]))
        fit = sm.OLS(np.log(seconds), terms).fit()
        assert model["n"] == n
        assert [model[name] for name in "abc"] == pytest.approx(fit.params.tolist(), rel=1e-9)
        for name, interval in zip("abc", fit.conf_int(), strict=True):
            assert model["ci95"][name] == pytest.approx(interval.tolist(), rel=1e-8)
        assert model["residual_sd"] == pytest.approx(np.sqrt(fit.mse_resid), rel=1e-9)


def test_model_is_refused_with_its_reason(ask):
    model = lambda runs: ask("season.digging", turns=[], runs=runs)["model"]  # noqa: E731
    nine = model([dig(300 + i, 0.5 + i / 10, 1 + i % 3) for i in range(9)])
    assert nine["n"] == 9 and "at least 10 digs" in nine["refused"]
    assert "people is the same in all 12" in model([dig(300 + i, 0.5 + i / 10, 3) for i in range(12)])["refused"]
    # People that follow from the depth: N = 2^k where D = 0.5 * 2^k.
    doubled = [dig(300 + i, 0.5 * 2 ** (i % 3), 2 ** (i % 3)) for i in range(12)]
    assert "people follows from depth" in model(doubled)["refused"]
    assert model([])["refused"]


def exact_interval(a, b):
    """Hodges-Lehmann interval from the Mann-Whitney distribution counted out over all arrangements, no ties.

    Source: Hollander and Wolfe, Nonparametric Statistical Methods, section 4.3 (from memory): the interval reaches from the k-th smallest to
    the k-th largest difference, k the largest count with P(U < k) at most 2.5 %.
    """
    places, total = range(len(a) + len(b)), 0
    counts = {}
    for chosen in itertools.combinations(places, len(a)):
        u = sum(chosen) - len(a) * (len(a) - 1) // 2
        counts[u] = counts.get(u, 0) + 1
        total += 1
    below, k = 0, 0
    while below + counts.get(k, 0) <= 0.025 * total:
        below += counts.get(k, 0)
        k += 1
    differences = sorted(x - y for x in a for y in b)
    return [differences[k - 1], differences[-k]] if k else None


def test_runs_with_a_source_against_runs_with_none_written(ask):
    random = np.random.default_rng(72)
    for n_with, n_without in ((1, 4), (3, 3), (4, 5), (6, 6), (5, 9)):
        with_it = (random.permutation(1000)[:n_with] + 200.25).tolist()
        without = (random.permutation(1000)[:n_without] + 100.0).tolist()
        runs = [{"drill": f"p{i}", "t_strike_s": t} for i, t in enumerate(with_it)]
        runs += [{"drill": f"q{i}", "t_strike_s": t} for i, t in enumerate(without)]
        runs += [{"drill": "r", "t_strike_s": 5.0}, {"drill": "s", "ended_t_s": 900}]
        rows = [{"drill": f"P{i}", "source": "phone", "distance_cm": 10.0 * i} for i in range(n_with)]
        rows += [{"drill": "r", "source": "radio"}, {"drill": None, "source": "phone"}]
        answer = ask("season.interference", rows=rows, runs=runs)
        phone = next(source for source in answer["sources"] if source["source"] == "phone")
        assert (phone["n"], phone["distance_n"]) == (n_with + 1, n_with)
        assert phone["median_distance_cm"] == np.median([10.0 * i for i in range(n_with)])
        assert phone["times_with"] == {"n": n_with, "not_reached": 0, "median_s": np.median(with_it)}
        assert phone["none_written"] == {"n": n_without, "not_reached": 1, "median_s": np.median(without)}
        differences = np.subtract.outer(with_it, without)
        assert phone["shift_s"] == pytest.approx(np.median(differences))
        expected = exact_interval(with_it, without)
        assert phone["shift_ci95"] == (pytest.approx(expected) if expected else None)
        assert "not 'none there'" in answer["says"]
