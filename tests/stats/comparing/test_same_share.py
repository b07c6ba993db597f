"""Whether several sessions have the same share of right answers: the exact tests of scipy."""

from itertools import product

import numpy as np
import pytest
from scipy.stats import chi2_contingency, fisher_exact, multivariate_hypergeom

from panel.stats.comparing.power import same_share_p


@pytest.mark.parametrize(("right", "n"), [((10, 4), (18, 18)), ((3, 9), (12, 24)), ((0, 5), (6, 6))])
def test_two_sessions_are_fishers_test(right, n):
    wrong = np.subtract(n, right)
    assert same_share_p(right, n) == (pytest.approx(fisher_exact([right, wrong]).pvalue, abs=1e-10), True)


@pytest.mark.parametrize(("right", "n"), [((1, 7, 2), (4, 9, 5)), ((3, 1, 0), (3, 8, 6))])
def test_three_sessions_are_counted_table_by_table(right, n):
    tables = [each for each in product(*(range(size + 1) for size in n)) if sum(each) == sum(right)]
    chances = multivariate_hypergeom.pmf(tables, n, sum(right))
    seen = multivariate_hypergeom.pmf(right, n, sum(right))
    assert same_share_p(right, n) == (pytest.approx(chances[chances <= seen * (1 + 1e-7)].sum(), abs=1e-10), True)


def test_many_sessions_go_by_chi_square():
    right, n = np.array([30, 41, 36, 50]), np.array([80, 90, 85, 100])
    p_value, exact = same_share_p(right, n)
    assert not exact
    assert p_value == pytest.approx(chi2_contingency([right, n - right], correction=False).pvalue, rel=1e-10)


def test_nothing_to_compare():
    assert same_share_p([5], [12]) == (1.0, True)
    assert same_share_p([0, 0], [12, 12]) == (1.0, True)
    assert same_share_p([6, 6], [12, 12])[0] == pytest.approx(1.0)
