"""Checks and single people over a season, from their rows to the answer, against statsmodels, numpy and scipy."""

from datetime import date, timedelta

import numpy as np
import pytest
import scipy.stats
from statsmodels.stats.proportion import proportion_confint


def test_shares_of_failed_checks(ask):
    random = np.random.default_rng(81)
    for n in (1, 2, 9, 40):
        parts = ("transmits", "receives", "fault")
        rows = [{"call_sign": f"P{i}", "failed": [part for part in parts if random.random() < 0.3]} for i in range(n)]
        answer = ask("season.checks", rows=rows)
        assert answer["n"] == n and (answer["few"] is None) == (n >= 10)
        for failed in answer["failed"]:
            k = sum(failed["what"] in row["failed"] for row in rows)
            low, high = proportion_confint(k, n, method="wilson")
            assert (failed["k"], failed["n"], failed["share"]) == (k, n, k / n)
            assert failed["ci95"] == pytest.approx([max(low, 0), min(high, 1)], abs=1e-9)


def test_what_was_not_tested_is_no_part_of_n(ask):
    random = np.random.default_rng(83)
    parts = ("transmits", "receives")
    rows = [{"not_tested": [part for part in parts if random.random() < 0.4]} for _ in range(30)]
    for row in rows:
        row["failed"] = [part for part in parts if part not in row["not_tested"] and random.random() < 0.3]
    failed = {part["what"]: part for part in ask("season.checks", rows=rows)["failed"]}
    for part in parts:
        k, n = (sum(part in row["failed"] for row in rows), sum(part not in row["not_tested"] for row in rows))
        low, high = proportion_confint(k, n, method="wilson")
        assert (failed[part]["k"], failed[part]["n"], failed[part]["not_tested"]) == (k, n, len(rows) - n)
        assert failed[part]["ci95"] == pytest.approx([max(low, 0), min(high, 1)], abs=1e-9)
    assert (failed["fault"]["k"], failed["fault"]["n"]) == (0, len(rows))


def test_batteries_and_electronics_of_each_person_and_day(ask):
    first, second = "2027-02-06", "2027-02-07"
    rows = [
        {"date": first, "call_sign": "P1", "battery_pct": 10, "nearest_electronics_cm": 5},
        {"date": first, "call_sign": "p1", "battery_pct": 95, "nearest_electronics_cm": 30},
        {"date": first, "call_sign": "P1"},
        {"date": second, "call_sign": "P1", "battery_pct": 39.9, "nearest_electronics_cm": 19.9},
        {"date": first, "call_sign": "P2", "battery_pct": 40, "nearest_electronics_cm": 50},
    ]
    answer = ask("season.checks", rows=rows)
    assert (answer["battery"]["n"], answer["battery"]["median_pct"]) == (3, np.median([95, 39.9, 40]))
    assert answer["battery"]["below"] == [{"date": second, "call_sign": "P1", "pct": 39.9}]
    # 20 cm sending and 50 cm searching are the defaults: a common rule of distances from electronics.
    assert {near["class"]: near["n"] for near in answer["electronics"]} == {
        "too_near_to_send": 1, "too_near_to_search": 1, "far_enough": 1}


def test_trend_is_that_of_scipy(ask):
    random = np.random.default_rng(82)
    start = date(2027, 1, 2)
    for n in (5, 6, 12, 40):
        days = np.sort(random.integers(0, 60, n))
        values = 400 - 2.5 * days + random.normal(0, 40, n)
        rows = [{"date": str(start + timedelta(int(day))), "what": "strike_s", "value": float(value)}
                for day, value in zip(days, values, strict=True)]
        [trend] = ask("season.person", rows=rows)["trends"]
        expected = scipy.stats.theilslopes(values, days - days[0])
        assert trend["n"] == n and trend["median"] == pytest.approx(np.median(values), rel=1e-12)
        assert trend["slope_per_day"] == pytest.approx(expected.slope, rel=1e-9)
        assert trend["n_days"] == len(set(days))
        if trend["slope_ci95"] is None:
            assert n < 7 and "n = " in trend["why"]["slope_ci95"]
        else:
            assert trend["slope_ci95"] == pytest.approx([expected.low_slope, expected.high_slope], rel=1e-9)


def test_below_five_values_there_is_no_trend(ask):
    rows = [{"date": f"2027-02-0{day}", "what": "turn_s", "value": 60.0 * day} for day in range(1, 5)]
    [trend] = ask("season.person", rows=rows)["trends"]
    assert (trend["n"], trend["slope_per_day"], trend["median"]) == (4, None, 150)
    assert "n = 4" in trend["why"]["slope_per_day"]
    equal = [{"date": f"2027-02-0{day}", "what": "turn_s", "value": 60.0} for day in range(1, 7)]
    [trend] = ask("season.person", rows=equal)["trends"]
    assert trend["slope_per_day"] == 0
