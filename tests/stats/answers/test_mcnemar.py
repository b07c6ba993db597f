"""McNemar's test against printed values, statsmodels, and its whole distribution."""

import numpy as np
import pytest
from scipy.optimize import minimize_scalar
from scipy.special import xlogy
from scipy.stats import binom
from statsmodels.stats.contingency_tables import mcnemar

from panel.stats.answers.paired_answers import lead_score, mcnemar_exact, pair_counts

CLOSED_FORM = 1e-10
# off-diagonal counts with exact p: tests of statsmodels, from R and vassarstats.net
PUBLISHED = [((121, 59), 0.000004), ((70, 59), 0.378688), ((80, 59), 0.089452), ((10, 10), 1.0), ((21, 4), 9.1052e-4)]


@pytest.mark.parametrize(("counts", "exact"), PUBLISHED)
def test_published_values(counts, exact):
    assert float(mcnemar_exact(*counts)) == pytest.approx(exact, abs=5e-7)


def test_every_small_table_equals_statsmodels():
    b, c = np.meshgrid(np.arange(12), np.arange(12), indexing="ij")
    own = mcnemar_exact(b, c)
    for place in np.ndindex(b.shape):
        if sum(place):
            square = [[3, place[0]], [place[1], 2]]
            assert own[place] == pytest.approx(min(mcnemar(square, exact=True).pvalue, 1), rel=CLOSED_FORM)
    assert own[0, 0] == 1


@pytest.mark.parametrize("level", [0.05, 0.01])
def test_it_never_rejects_more_often_than_its_level_says(level):
    # exact, for every number of people who changed up to 200: all outcomes with their chance
    for changed in range(1, 201):
        b = np.arange(changed + 1)
        size = binom.pmf(b, changed, 0.5)[mcnemar_exact(b, changed - b) <= level].sum()
        assert size <= level + 1e-12


def test_pairs_are_counted_over_people_with_both_answers():
    rng = np.random.default_rng(2)
    answers = rng.integers(0, 2, (3, 30, 4)).astype(float)
    answers[rng.random(answers.shape) < 0.2] = np.nan
    found = pair_counts(answers)
    assert list(zip(found["first"].tolist(), found["second"].tolist(), strict=True)) == [
        (0, 1), (0, 2), (0, 3), (1, 2), (1, 3), (2, 3),
    ]  # fmt: skip
    for question in range(3):
        for pair, (i, j) in enumerate(zip(found["first"], found["second"], strict=True)):
            both = [(a, b) for a, b in answers[question][:, [i, j]] if not np.isnan(a + b)]
            assert found["n"][question, pair] == len(both)
            assert found["only_first"][question, pair] == both.count((1, 0))
            assert found["only_second"][question, pair] == both.count((0, 1))
            assert found["both"][question, pair] == both.count((1, 1))


@pytest.mark.parametrize(("first", "second", "n"), [(30, 10, 100), (46, 0, 100), (0, 46, 100), (7, 9, 16), (3, 5, 40)])
@pytest.mark.parametrize("lead", [-0.3, 0.1, 0.2])
def test_the_score_of_a_lead_has_the_standard_error_of_the_likeliest_shares(first, second, n, lead):
    def unlikely(q):
        return -(xlogy(first, q + lead) + xlogy(second, q) + xlogy(n - first - second, 1 - 2 * q - lead))

    bounds = (max(0.0, -lead), (1 - lead) / 2)
    q = minimize_scalar(unlikely, bounds=bounds, method="bounded", options={"xatol": 1e-12}).x
    error = np.sqrt((2 * q + lead - lead**2) / n)
    assert lead_score(first, second, n, lead) == pytest.approx(((first - second) / n - lead) / error, rel=1e-4)
