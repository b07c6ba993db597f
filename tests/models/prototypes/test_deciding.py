"""The interval shown is the one that decides: it leaves out zero exactly where the adjusted p-value is below 5 %."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as some
from scipy import stats

from panel.models.prototypes.verdict import with_deciding
from panel.stats.comparing.multiplicity import below, benjamini_hochberg, deciding_alpha, holm

EXACT = 1e-12  # a handful of float operations
AT_THE_LIMIT = 1e-9  # so near a limit the p-value and the interval round to either side
ALPHA = 0.05

tests = some.lists(
    some.tuples(some.floats(-9, 9), some.floats(1, 200)) | some.just((float("nan"), 5.0)), min_size=1, max_size=40
)


def of_tests(t, df, error=1.0):
    t, df = np.asarray(t, dtype=float), np.asarray(df, dtype=float)
    return pd.DataFrame({"estimate": t * error, "std_error": error, "df": df, "p_value": 2 * stats.t.sf(np.abs(t), df)})


@pytest.mark.parametrize("adjust", [benjamini_hochberg, holm])
@given(tests)
def test_what_is_told_is_what_leaves_out_zero(adjust, drawn):
    found = with_deciding(of_tests(*zip(*drawn, strict=True), 2.5), adjust)
    told = below(found["p_adjusted"])
    outside = ((found["told_low"] > 0) | (found["told_high"] < 0)).to_numpy()
    near = np.abs(found["p_value"] / (1 - found["told_level"]) - 1) < AT_THE_LIMIT
    np.testing.assert_array_equal(told[~near], outside[~near])
    assert found[["told_low", "told_high", "told_level"]].isna().eq(found["p_value"].isna(), axis=0).all(axis=None)


def test_by_hand():
    # One degree of freedom is Cauchy's distribution, t = tan(pi (1 - p) / 2), and p = 0.01, 0.02, 0.03, 0.5 are held
    # against 0.0125, 0.025, 0.0375, 0.05: three of four are told. The level is 1 - 3 x 0.05 / 4 = 0.9625 for all, and
    # an interval reaches tan(pi 0.9625 / 2) = 16.957 standard errors. The third has t = 21.205, the last t = 1.
    t = np.tan(np.pi * (1 - np.array([0.01, 0.02, 0.03, 0.5])) / 2)
    found = with_deciding(of_tests(t, np.ones(4)), benjamini_hochberg)
    np.testing.assert_allclose(found["told_level"], 0.9625, rtol=EXACT)
    np.testing.assert_allclose(found["told_low"].iloc[2:], [21.205 - 16.957, 1 - 16.957], atol=1e-3)  # printed digits
    # Holm holds 0.01 against 0.0125, the smallest of four; 0.02 is above 0.05 / 3, where it stays for all others.
    held = deciding_alpha(np.array([0.5, 0.02, 0.01, 0.03]), ALPHA)
    np.testing.assert_allclose(held, [0.05 / 3, 0.05 / 3, 0.0125, 0.05 / 3], rtol=EXACT)


def test_nothing_told_is_judged_like_one_of_all_and_all_told_like_one_alone():
    p = np.array([0.3, 0.4, np.nan, 0.2])
    np.testing.assert_allclose(deciding_alpha(p, ALPHA, benjamini_hochberg), [0.05 / 3, 0.05 / 3, np.nan, 0.05 / 3])
    np.testing.assert_allclose(deciding_alpha(np.full(7, 0.01), ALPHA, benjamini_hochberg), 0.05, rtol=EXACT)
    assert deciding_alpha(np.array([]), ALPHA, benjamini_hochberg).size == 0
    assert np.isnan(deciding_alpha(np.array([np.nan]), ALPHA, benjamini_hochberg)).all()


def test_of_the_intervals_picked_at_most_five_in_a_hundred_miss():
    # Benjamini & Yekutieli (2005), theorem 1: for independent estimates the expected share of missing intervals among
    # those picked by Benjamini and Hochberg is at most alpha. Each alone at 95 % would miss more often here.
    rng = np.random.default_rng(20)
    runs, m, df = 3000, 20, 9
    truth = np.where(np.arange(m) < 15, 0.0, 3.0)
    share = np.zeros((runs, 2))
    for run in range(runs):
        estimate = truth + rng.normal(size=m)
        error = np.sqrt(rng.chisquare(df, m) / df)
        frame = of_tests(estimate / error, np.full(m, df), error)
        found = with_deciding(frame, benjamini_hochberg)
        picked = below(found["p_adjusted"], ALPHA)
        alone = stats.t.ppf(1 - ALPHA / 2, df) * error
        misses = (found["told_low"] > truth) | (found["told_high"] < truth), np.abs(estimate - truth) > alone
        share[run] = [np.mean(each[picked]) if picked.any() else 0.0 for each in misses]
    limit = ALPHA + 3 * share.std(axis=0) / np.sqrt(runs)  # three standard errors of so many runs
    assert share[:, 0].mean() <= limit[0]
    assert share[:, 1].mean() > limit[1]
