"""Offsets of clocks: exchanges against RFC 5905, marks against numpy, shared starts against the trade's worked example."""

import math

import numpy as np
import pytest

#: RFC 5905, section 8: theta = 1/2 [(T2 - T1) + (T3 - T4)], delta = (T4 - T1) - (T3 - T2).
#: The formulas are quoted from the RFC from memory; the exchanges are worked out from them here, step by step in plain integers.
EXCHANGES = [
    # T1, T2, T3, T4 in ms; then theta and delta.
    ((0, 0, 0, 0), 0, 0),
    ((1_000, 1_050, 1_060, 1_110), 0, 100),
    # The asker is 5 s behind: both legs take 20 ms.
    ((0, 5_020, 5_025, 45), 5_000, 40),
    # The asker is 7.1 s ahead, 30 ms there and 50 ms back: half the difference of the legs remains as error.
    ((7_100, 30, 31, 7_181), -7_110, 80),
    # A clock of 1970 asks one of 2027.
    ((60_000, 1_801_904_400_010, 1_801_904_400_012, 60_022), 1_801_904_340_000, 20),
]


@pytest.mark.parametrize("t_ms, theta, delta", EXCHANGES)
def test_offset_and_delay_of_rfc_5905(ask, t_ms, theta, delta):
    t1, t2, t3, t4 = t_ms
    assert (theta, delta) == (((t2 - t1) + (t3 - t4)) / 2, (t4 - t1) - (t3 - t2)), "the table follows the formulas"
    answer = ask("clock.exchange", t_ms=list(t_ms))
    assert (answer["offset_ms"], answer["delay_ms"]) == (theta, delta)
    assert answer["uncertainty_ms"] == max(delta / 2, 10)


def test_the_best_exchange_is_the_one_of_least_delay(ask):
    random = np.random.default_rng(5905)
    for _ in range(200):
        off, at, exchanges, true = int(random.integers(-10**7, 10**7)), 0, [], []
        for _ in range(int(random.integers(1, 9))):
            there, within, back = (int(x) for x in random.integers(0, 2_000, 3))
            exchanges.append([at, at + there + off, at + there + within + off, at + there + within + back])
            true.append(there + back)
            at += 5_000
        best = ask("clock.best", exchanges=exchanges)
        assert best["delay_ms"] == min(true)
        # NTP's own bound: the true offset lies within half the delay.
        assert abs(best["offset_ms"] - off) <= best["delay_ms"] / 2


def test_half_a_delay_wears_off_by_50_parts_in_a_million(ask):
    # Common practice for quartz in the cold, no source: 50 ppm of 8 h are 1.44 s.
    assert ask("clock.drifted", uncertainty_ms=20, apart_ms=8 * 3_600_000) == pytest.approx(20 + 1_440)
    assert ask("clock.drifted", uncertainty_ms=0, apart_ms=-1_000) == 10


def test_median_absolute_deviation_is_that_of_numpy(ask):
    random = np.random.default_rng(3)
    for n in [1, 2, 3, 4, 5, 10, 101]:
        for values in [random.normal(-7_100, 400, n), random.integers(-9_000, 9_000, n) * 1.0, np.full(n, 250.0)]:
            middle = np.median(values)
            assert ask("stats.mad", values=values.tolist()) == np.median(np.abs(values - middle))
            shared = ask("clock.shared", apart_ms=values.tolist(), floor_ms=500)
            assert shared["offset_ms"] == middle
            assert shared["uncertainty_ms"] == max(1.4826 * np.median(np.abs(values - middle)), 500)
            assert shared["n"] == n


def test_1_4826_makes_it_a_standard_deviation(ask):
    # 1 / Phi^-1(3/4), the usual factor for normal errors; scipy's quantile is the outside value.
    from scipy.stats import norm

    assert round(1 / norm.ppf(0.75), 4) == 1.4826
    values = np.random.default_rng(8).normal(0, 3_000, 200_001)
    assert ask("clock.shared", apart_ms=values.tolist(), floor_ms=0)["uncertainty_ms"] == pytest.approx(3_000, rel=0.02)


def clock_time(seconds):
    return f"2027-02-06T{10 + int(seconds) // 3600:02}:{int(seconds) // 60 % 60:02}:{seconds % 60:06.3f}+01:00"


def test_the_shared_events_of_the_trade_facts(ask):
    """The project's own worked example of shared events: A = 0, 60, 185, 300 s and B = 7.2, 67.0, 192.4, 306.9 s give B 7.1 s ahead."""
    a, b = [0, 60, 185, 300], [7.2, 67.0, 192.4, 306.9]
    assert np.median(np.subtract(b, a)) == pytest.approx(7.1)

    def start(drill, at):
        return {"kind": "moment", "step": "start", "drill": str(drill), "at": clock_time(at)}

    # A start that only A pressed makes A the base.
    phone_a = [start(n, at) for n, at in enumerate(a)] + [start(9, 900)]
    phone_b = [start(n, at) for n, at in enumerate(b)]
    base, other = ask("clock.table", phones=[phone_a, phone_b])["clocks"]
    assert (base["from"], base["by"], base["offset_ms"]) == ("base", ["Obs0"], 0)
    assert (other["from"], other["by"], other["n"]) == ("start", ["Obs1"], 4)
    assert other["offset_ms"] == pytest.approx(-7_100)
    # 1.4826 times the MAD of 0.15 s is below the floor of a pressed start, 1 s.
    assert other["uncertainty_ms"] == 1_000 > 1.4826 * 150


def test_a_clock_of_1970_is_put_right_by_one_mark(ask):
    # 57 years and 37 days lie between 1970-01-01 and 2027-02-06 or so: the offset is exact all the same.
    mark = {"kind": "clock_mark", "label": "now"}
    phones = [[mark | {"at": "2027-02-06T09:00:00.000+01:00"}], [mark | {"at": "1970-01-01T00:12:00.000Z"}]]
    told = ask("clock.table", phones=phones)["clocks"]
    known = next(c for c in told if c["from"] == "mark")
    assert math.isclose(abs(known["offset_ms"]), 1_801_900_800_000 - 720_000)
