"""Curves of times, medians, restricted means and log-rank against lifelines, statsmodels and published remission times."""

import math
from fractions import Fraction

import lifelines
import lifelines.datasets
import numpy as np
import pytest
from lifelines.statistics import logrank_test, multivariate_logrank_test
from reckon import Refused
from statsmodels.duration.survfunc import SurvfuncRight

# Remission of acute leukemia, weeks; + = still in remission. Source: Freireich et al., Blood 21 (1963) 699-716, as
# printed in Gehan, Biometrika 52 (1965) 203-223 (from memory, held below against the copy that lifelines ships).
TREATED = "6 6 6 6+ 7 9+ 10 10+ 11+ 13 16 17+ 19+ 20+ 22 23 25+ 32+ 32+ 34+ 35+"
PLACEBO = "1 1 2 2 3 4 4 5 5 8 8 8 8 11 11 12 12 15 17 22 23"


def runs(text):
    return [(float(word.rstrip("+")), not word.endswith("+")) for word in text.split()]


def random_runs(random, n, ties):
    times = random.exponential(300, n)
    times = np.ceil(times / 60) * 60 if ties else times
    return [(float(time), bool(reached)) for time, reached in zip(times, random.random(n) < 0.7, strict=True)]


def groups(seed, count=40):
    random = np.random.default_rng(seed)
    return [random_runs(random, int(random.integers(3, 120)), index % 2 == 0) for index in range(count)]


def exact_curve(observed):
    """(time, share not yet reached) by the product formula in fractions."""
    curve, share = [], Fraction(1)
    for time in sorted({time for time, _ in observed}):
        at_risk = sum(other >= time for other, _ in observed)
        events = sum(reached and other == time for other, reached in observed)
        share *= 1 - Fraction(events, at_risk)
        curve.append((time, share))
    return curve


def exact_median(curve):
    half = Fraction(1, 2)
    reached = [(time, share) for time, share in curve if share <= half]
    if not reached:
        return None
    time, share = reached[0]
    below = [later for later, height in reached if height < share]
    return (time + below[0]) / 2 if share == half and below else time


def test_the_remission_times_are_those_that_lifelines_ships():
    shipped = lifelines.datasets.load_leukemia()
    for group, text in ((0, TREATED), (1, PLACEBO)):
        rows = shipped[shipped["Rx"] == group]
        assert sorted(zip(rows["t"], rows["status"] == 1)) == sorted(runs(text))


def test_remission_curve(ask):
    curve = ask("stats.curve", runs=runs(TREATED))
    steps = {step["time"]: step for step in curve["steps"]}
    # Source: Kalbfleisch and Prentice, The Statistical Analysis of Failure Time Data, table of this curve (from memory).
    for time, at_risk, share in ((6, 21, 0.857), (7, 17, 0.807), (10, 15, 0.753), (13, 12, 0.690), (16, 11, 0.627),
                                 (22, 7, 0.538), (23, 6, 0.448)):
        assert steps[time]["at_risk"] == at_risk
        assert steps[time]["not_yet"] == pytest.approx(share, abs=5e-4)
    assert (curve["n"], curve["events"], curve["censored"]) == (21, 9, 12)
    # Median 23 weeks treated, 8 with placebo. Source: the same (from memory).
    assert curve["median"] == 23
    assert ask("stats.curve", runs=runs(PLACEBO))["median"] == 8


def test_remission_log_rank(ask):
    answer = ask("stats.log_rank", groups=[runs(TREATED), runs(PLACEBO)])
    # chi-squared 16.79 on 1 degree of freedom. Source: survival package of R on these data (from memory).
    assert answer["chi2"] == pytest.approx(16.79, abs=5e-3)
    assert answer["df"] == 1


def test_curves_and_bands_are_those_of_lifelines(ask):
    for observed in groups(11):
        times, reached = zip(*observed, strict=True)
        fitted = lifelines.KaplanMeierFitter().fit(times, reached)
        bands = fitted.confidence_interval_
        answer = ask("stats.curve", runs=observed)
        assert [step["time"] for step in answer["steps"]] == sorted(set(times))
        for step in answer["steps"]:
            time = step["time"]
            assert step["at_risk"] == fitted.event_table["at_risk"][time]
            assert step["events"] == fitted.event_table["observed"][time]
            assert step["not_yet"] == pytest.approx(fitted.survival_function_.loc[time].item(), rel=1e-12)
            if step["not_yet"] == 0:
                assert step["lo"] is None and step["hi"] is None
            elif step["not_yet"] == 1:
                assert step["lo"] == step["hi"] == 1
            else:
                low, high = bands.loc[time]
                assert step["lo"] == pytest.approx(low, rel=1e-9)
                assert step["hi"] == pytest.approx(high, rel=1e-9)


def test_median_is_the_middle_of_a_stretch_at_one_half(ask):
    in_the_middle = 0
    random = np.random.default_rng(12)
    for observed in groups(12) + [random_runs(random, n, ties=n % 3 == 0) for n in range(1, 13) for _ in range(10)]:
        curve = exact_curve(observed)
        in_the_middle += any(share == Fraction(1, 2) for _, share in curve)
        assert ask("stats.curve", runs=observed)["median"] == exact_median(curve)
    assert in_the_middle > 10


def test_interval_of_a_median_is_where_the_bands_cross_one_half(ask):
    for observed in groups(13):
        times, reached = zip(*observed, strict=True)
        fitted = lifelines.KaplanMeierFitter().fit(times, reached)
        expected = lifelines.utils.median_survival_times(fitted.confidence_interval_).iloc[0].tolist()
        expected = [None if math.isinf(end) else end for end in expected]
        answer = ask("stats.curve", runs=observed)["median_ci95"]
        if exact_curve(observed)[-1][1] == 0 and expected[1] == max(times):
            # At 0 lifelines lets the upper band fall to 0; here it is unknown there, as in R.
            expected[1] = None
        if exact_curve(observed)[-1][1] == 0 and expected[0] == max(times):
            expected[0] = None
        assert answer == expected


def test_restricted_mean(ask):
    for observed in groups(14):
        times, reached = zip(*observed, strict=True)
        fitted = lifelines.KaplanMeierFitter().fit(times, reached)
        for share in (0, 0.3, 0.8, 1):
            horizon = share * max(times)
            expected = lifelines.utils.restricted_mean_survival_time(fitted, t=horizon)
            answer = ask("stats.restricted_mean", runs=observed, horizon=horizon)
            assert answer == pytest.approx(expected, rel=1e-10, abs=1e-12)


def test_curve_of_statsmodels(ask):
    for observed in groups(15, 10):
        times, reached = zip(*observed, strict=True)
        other = SurvfuncRight(times, np.array(reached, dtype=int))
        steps = [step for step in ask("stats.curve", runs=observed)["steps"] if step["events"]]
        assert [step["not_yet"] for step in steps] == pytest.approx(other.surv_prob.tolist(), rel=1e-12)


def test_log_rank_is_that_of_lifelines(ask):
    random = np.random.default_rng(16)
    for index in range(40):
        parts = [random_runs(random, int(random.integers(4, 60)), index % 2 == 0) for _ in range(2 + index % 4)]
        times = [time for part in parts for time, _ in part]
        reached = [event for part in parts for _, event in part]
        names = [name for name, part in enumerate(parts) for _ in part]
        expected = multivariate_logrank_test(times, names, reached)
        answer = ask("stats.log_rank", groups=parts)
        assert answer["df"] == len(parts) - 1
        assert answer["chi2"] == pytest.approx(expected.test_statistic, rel=1e-8)
        assert answer["p"] == pytest.approx(expected.p_value, rel=1e-7, abs=1e-300)
        if len(parts) == 2:
            (a, ea), (b, eb) = (zip(*part, strict=True) for part in parts)
            assert answer["chi2"] == pytest.approx(logrank_test(a, b, ea, eb).test_statistic, rel=1e-8)


def test_horizon_of_several_groups_is_the_last_time_of_the_shortest(ask):
    assert ask("stats.common_horizon", groups=[[(5, True), (9, False)], [(7, True)], [(12, False)]]) == 7


def test_what_nobody_watched_is_refused(ask):
    with pytest.raises(Refused, match="nothing is known beyond"):
        ask("stats.restricted_mean", runs=[(5, True), (9, False)], horizon=9.5)
    with pytest.raises(Refused, match="no two groups are under way together"):
        ask("stats.log_rank", groups=[[(5, False)], [(9, True), (12, True)]])
    with pytest.raises(Refused, match="time since the start is -1"):
        ask("stats.curve", runs=[(-1, True)])
