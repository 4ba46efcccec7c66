"""Times of a season's runs against lifelines, statsmodels and published remission times, from rows of runs to the answer."""

import math

import lifelines
import numpy as np
import pytest
from lifelines.statistics import multivariate_logrank_test
from reckon import Refused
from statsmodels.stats.proportion import proportion_confint
from test_survival import PLACEBO, TREATED, runs as remission


def rows(observed, **more):
    """Runs whose strike came at the time given, or that ended then without one."""
    return [{("t_strike_s" if reached else "ended_t_s"): time, **more} for time, reached in observed]


def step(answer, name):
    return next(step for step in answer["steps"] if step["step"] == name)


def random_runs(random, n, ties):
    times = random.exponential(300, n)
    times = np.ceil(times / 60) * 60 if ties else times
    return [(float(time), bool(reached)) for time, reached in zip(times, random.random(n) < 0.7, strict=True)]


def test_remission_times_as_runs_of_two_teams(ask):
    runs = rows(remission(TREATED), team="treated") + rows(remission(PLACEBO), team="placebo")
    strike = step(ask("season.times", runs=runs, group_by="team"), "strike")
    # Source: Freireich et al., Blood 21 (1963) 699-716; medians 23 and 8 and chi-squared 16.79 by R's survival package (from memory).
    assert {group["group"]: group["median_s"] for group in strike["groups"]} == {"placebo": 8, "treated": 23}
    assert strike["logrank"]["chi2"] == pytest.approx(16.79, abs=5e-3)
    assert (strike["n"], strike["events"], strike["censored"]) == (42, 30, 12)
    # The horizon is the largest time of the group whose largest time is smallest: 23 of 23 and 35.
    assert {group["horizon_s"] for group in strike["groups"]} == {23}


def test_curves_bands_and_means_are_those_of_lifelines(ask):
    random = np.random.default_rng(51)
    for index in range(25):
        parts = {name: random_runs(random, int(random.integers(3, 80)), index % 2 == 0) for name in ("Blue", "Red", "White")}
        runs = [row for name, part in parts.items() for row in rows(part, team=name)]
        random.shuffle(runs)
        strike = step(ask("season.times", runs=runs, group_by="team"), "strike")
        horizon = min(max(time for time, _ in part) for part in parts.values())
        for group in strike["groups"]:
            times, reached = zip(*parts[group["group"]], strict=True)
            fitted = lifelines.KaplanMeierFitter().fit(times, reached)
            bands = fitted.confidence_interval_
            assert group["n"] == len(times) and group["events"] == sum(reached)
            assert [point["t_s"] for point in group["curve"]] == sorted(set(times))
            for point in group["curve"]:
                assert point["not_yet"] == pytest.approx(fitted.survival_function_.loc[point["t_s"]].item(), rel=1e-12)
                if 0 < point["not_yet"] < 1:
                    low, high = bands.loc[point["t_s"]]
                    assert point["lo"] == pytest.approx(low, rel=1e-9)
                    assert point["hi"] == pytest.approx(high, rel=1e-9)
            expected = lifelines.utils.restricted_mean_survival_time(fitted, t=horizon)
            assert group["horizon_s"] == horizon
            assert group["restricted_mean_s"] == pytest.approx(expected, rel=1e-10)
            # Where the curve stays at one half, lifelines takes the first time at it, not the middle.
            at_half = any(abs(point["not_yet"] - 0.5) < 1e-9 for point in group["curve"])
            if not at_half:
                median = fitted.median_survival_time_
                assert group["median_s"] == (None if math.isinf(median) else median)
            if group["median_s"] is None:
                assert "half" in group["why"]["median_s"]
        names = [name for name, part in parts.items() for _ in part]
        all_times, all_reached = zip(*(run for part in parts.values() for run in part), strict=True)
        expected = multivariate_logrank_test(all_times, names, all_reached)
        assert strike["logrank"]["chi2"] == pytest.approx(expected.test_statistic, rel=1e-8)
        assert strike["logrank"]["p"] == pytest.approx(expected.p_value, rel=1e-7)
        assert strike["logrank"]["df"] == 2


def test_a_given_horizon_restricts_every_mean(ask):
    random = np.random.default_rng(52)
    observed = random_runs(random, 60, False)
    times, reached = zip(*observed, strict=True)
    fitted = lifelines.KaplanMeierFitter().fit(times, reached)
    horizon = 0.4 * max(times)
    strike = step(ask("season.times", runs=rows(observed), horizon_s=horizon), "strike")
    expected = lifelines.utils.restricted_mean_survival_time(fitted, t=horizon)
    assert strike["restricted_mean_s"] == pytest.approx(expected, rel=1e-10)
    beyond = step(ask("season.times", runs=rows([(5, True), (9, False)]), horizon_s=10), "strike")
    assert beyond["restricted_mean_s"] is None and "nothing is known beyond" in beyond["why"]["restricted_mean_s"]


def test_runs_that_count_and_runs_that_do_not(ask):
    runs = [
        {"t_strike_s": 100}, {"limit_s": 600}, {"ended_t_s": 300, "limit_s": 600},  # reached, until its limit, until its end
        {}, {"t_airway_s": 50}, {"t_strike_s": 1, "ended_why": "cancelled"}, {"t_strike_s": 1, "started_at": None},
    ]
    answer = ask("season.times", runs=runs)
    strike = step(answer, "strike")
    assert [(point["t_s"], point["at_risk"], point["events"]) for point in strike["curve"]] == [
        (100, 3, 1), (300, 2, 0), (600, 1, 0)]
    assert (strike["n"], strike["open"], strike["unwritten"]) == (3, 1, 1)
    assert {left["reason"]: left["n"] for left in answer["left_out"]} == {
        "drill called off": 1, "nobody wrote the start of the drill": 1}


EIGHT_MINUTES = {"name": "eight minutes", "limit_s": 480, "stops_at": "strike", "inclusive": True}


@pytest.mark.parametrize(("seconds", "inclusive", "passes"), [
    # 479.9 s pass, 480.0 s pass, 480.1 s fail; source: the trade facts' check of a limit of 8 minutes. Exclusive by definition.
    (479.9, True, 1), (480.0, True, 1), (480.1, True, 0), (479.9, False, 1), (480.0, False, 0),
])
def test_the_limit_of_a_test(ask, seconds, inclusive, passes):
    answer = ask("season.times", runs=[{"t_strike_s": seconds}], test={**EIGHT_MINUTES, "inclusive": inclusive})
    assert (answer["passed"]["k"], answer["passed"]["n"]) == (passes, 1)


def test_share_that_passed_has_the_interval_of_wilson(ask):
    for n in (1, 2, 3, 10, 57):
        for k in {0, 1, n // 2, n}:
            runs = [{"drill": str(i), "t_strike_s": 400 if i < k else 500} for i in range(n)]
            passed = ask("season.times", runs=runs, test=EIGHT_MINUTES)["passed"]
            low, high = proportion_confint(k, n, method="wilson")
            assert (passed["k"], passed["n"], passed["share"]) == (k, n, k / n)
            assert passed["ci95"] == pytest.approx([max(low, 0), high], abs=1e-9)
    # Source: the trade facts: 7 of 10 passes, Wilson 95 % 0.397 to 0.892.
    runs = [{"drill": str(i), "t_strike_s": 400 if i < 7 else 500} for i in range(10)]
    assert ask("season.times", runs=runs, test=EIGHT_MINUTES)["passed"]["ci95"] == pytest.approx([0.397, 0.892], abs=5e-4)


def test_what_can_not_be_asked_is_refused(ask):
    with pytest.raises(Refused, match="times can't be grouped by method"):
        ask("season.times", runs=[], group_by="method")
    with pytest.raises(Refused, match="at least 1"):
        ask("season.times", runs=[], test={**EIGHT_MINUTES, "limit_s": 0})
    with pytest.raises(Refused, match="unknown field `limit`"):
        ask("season.times", runs=[], test={**EIGHT_MINUTES, "limit": 480})
