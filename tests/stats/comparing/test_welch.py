"""Welch's t against scipy and against what cannot be tested."""

import numpy as np
import pytest
from scipy.stats import ttest_ind

from panel.stats.comparing.group_means import t_differences, welch_differences

CLOSED_FORM = 1e-9


def test_equal_to_scipy():
    rng = np.random.default_rng(1)
    first, second = rng.normal(5, 1, (6, 9)), rng.normal(6, 3, (6, 14))
    found = welch_differences(
        9, first.mean(axis=1), first.var(axis=1, ddof=1), 14, second.mean(axis=1), second.var(axis=1, ddof=1), 0.9
    )
    for place in range(6):
        theirs = ttest_ind(first[place], second[place], equal_var=False)
        assert found.statistic[place] == pytest.approx(theirs.statistic, rel=CLOSED_FORM)
        assert found.df[place] == pytest.approx(theirs.df, rel=CLOSED_FORM)
        assert found.p_value[place] == pytest.approx(theirs.pvalue, rel=CLOSED_FORM)
        ends = theirs.confidence_interval(0.9)
        assert (found.ci_low[place], found.ci_high[place]) == pytest.approx((ends.low, ends.high), rel=CLOSED_FORM)


def test_no_spread_or_one_person_gives_no_test():
    found = welch_differences([1, 5, 5], 5.0, [np.nan, 0.0, 1.0], 5, 4.0, [1.0, 0.0, 1.0])
    assert found.estimate.tolist() == [1, 1, 1]
    assert np.isnan(found.p_value).tolist() == [True, True, False]
    assert np.isnan(found.ci_low).tolist() == [True, True, False]


def test_an_estimate_without_a_standard_error_has_no_test():
    found = t_differences(6, [1.0, 1.0, 1.0], [np.nan, 0.0, 2.0], [5, 5, 0])
    assert np.isnan(found.statistic).all()
