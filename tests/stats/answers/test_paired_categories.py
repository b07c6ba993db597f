"""Stuart and Maxwell's test against statsmodels, McNemar's test, and simulated people who do not change."""

import numpy as np
import pytest
from statsmodels.stats.contingency_tables import SquareTable

from panel.stats.answers.paired_answers import paired_tables, stuart_maxwell

SOLVED = 1e-8  # relative; two ways to invert the same matrix


def test_equal_to_statsmodels():
    rng = np.random.default_rng(1)
    tables = rng.integers(1, 15, (20, 3, 3))
    found = stuart_maxwell(tables)
    for place, own in enumerate(tables):
        theirs = SquareTable(own, shift_zeros=False).homogeneity(method="stuart_maxwell")
        assert found["statistic"][place] == pytest.approx(theirs.statistic, rel=SOLVED)
        assert found["df"][place] == theirs.df == 2
        assert found["p_value"][place] == pytest.approx(theirs.pvalue, rel=SOLVED)
        assert found["n"][place] == own.sum()


def test_vision_of_7477_women():
    # Stuart (1955), unaided distance vision of right and left eye: chi-square 11.96 with 3 df; from memory
    vision = [[1520, 266, 124, 66], [234, 1512, 432, 78], [117, 362, 1772, 205], [36, 82, 179, 492]]
    found = stuart_maxwell([vision])
    assert found["statistic"][0] == pytest.approx(11.96, abs=5e-3)
    assert found["df"][0] == 3


def test_with_two_categories_it_is_mcnemar():
    found = stuart_maxwell([[[5, 9], [2, 7]], [[5, 0], [0, 7]]])
    assert found["statistic"][0] == pytest.approx((9 - 2) ** 2 / (9 + 2))
    assert (found["df"].tolist(), found["p_value"][1]) == ([1, 0], 1)
    assert np.isnan(found["statistic"][1])


def test_a_category_nobody_uses_costs_its_degree_of_freedom():
    two = stuart_maxwell([[[5, 9], [2, 7]]])
    three = stuart_maxwell([[[5, 0, 9], [0, 0, 0], [2, 0, 7]]])
    assert three["statistic"][0] == pytest.approx(two["statistic"][0])
    assert three["df"][0] == 1
    kept = stuart_maxwell([[[5, 0, 9], [0, 4, 0], [2, 0, 7]]])  # nor does one nobody leaves
    assert (kept["statistic"][0], kept["df"][0]) == (pytest.approx(two["statistic"][0]), 1)


def test_order_and_names_of_categories_do_not_matter():
    table = np.array([[8, 3, 1], [6, 9, 2], [5, 4, 7]])
    straight, turned = stuart_maxwell([table]), stuart_maxwell([table.T])
    assert turned["statistic"][0] == pytest.approx(straight["statistic"][0])
    mixed = table[np.ix_([2, 0, 1], [2, 0, 1])]
    assert stuart_maxwell([mixed])["statistic"][0] == pytest.approx(straight["statistic"][0])


def test_nobody_gives_no_p_value():
    assert np.isnan(stuart_maxwell(np.zeros((1, 3, 3)))["p_value"][0])


def test_tables_are_counted_over_people_with_both_answers():
    answers = np.array([[0, 1, 2], [0, np.nan, 2], [1, 1, 0], [2, 1, np.nan]])
    first, second, tables = paired_tables(answers, 3)
    assert list(zip(first.tolist(), second.tolist(), strict=True)) == [(0, 1), (0, 2), (1, 2)]
    assert tables.sum(axis=(1, 2)).tolist() == [3, 3, 2]
    assert tables[0].tolist() == [[0, 1, 0], [0, 1, 0], [0, 1, 0]]
    assert tables[1].tolist() == [[0, 0, 2], [1, 0, 0], [0, 0, 0]]


@pytest.mark.parametrize("people", [20, 60])
def test_without_a_difference_it_rejects_about_as_often_as_its_level_says(people):
    # 4,000 pairs of answers of people with a leaning of their own; three standard errors above the level
    rng = np.random.default_rng(4)
    leaning = rng.dirichlet([2, 4, 2], (4000, people)).cumsum(axis=2)
    answers = (rng.random((4000, people, 2, 1)) > leaning[:, :, None, :2]).sum(axis=3)
    tables = np.zeros((4000, 3, 3))
    np.add.at(tables, (np.repeat(np.arange(4000), people), *answers.reshape(-1, 2).T), 1)
    found = stuart_maxwell(tables)
    assert np.mean(found["p_value"] <= 0.05) <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / 4000)
