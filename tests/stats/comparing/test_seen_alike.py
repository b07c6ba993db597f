"""Do prototypes differ alike in all sessions and groups? Held to statsmodels and to least squares."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
import statsmodels.formula.api as smf
from scipy.stats import f as f_distribution

from panel.stats.comparing.group_means import seen_alike


def scored(seed):
    rng = np.random.default_rng(seed)
    group = np.array([0, 0, 0, 0, 1, 1, 1])
    scores = rng.normal(50, 8, (7, 4, 3)) + rng.normal(0, 6, (7, 1, 3)) + rng.normal(0, 5, (7, 4, 1))
    scores += rng.normal(0, 4, (1, 4, 3)) + rng.normal(0, 4, (2, 4, 1))[group]
    place = np.indices(scores.shape).reshape(3, -1)
    rows = pd.DataFrame({name: place[k].astype(str) for k, name in enumerate("aps")}).assign(y=scores.ravel())
    return scores, group, rows.assign(g=group[place[0]].astype(str))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_sessions_are_held_to_what_people_differ_in_from_session_to_session(seed):
    scores, _, rows = scored(seed)
    table = sm.stats.anova_lm(smf.ols("y ~ a + p + s + a:p + a:s + p:s", rows).fit())
    f, df, df_error, p = seen_alike(scores)
    assert (f, p) == pytest.approx((table.loc["p:s", "F"], table.loc["p:s", "PR(>F)"]), rel=1e-8)
    assert (df, df_error) == (table.loc["p:s", "df"], table.loc["Residual", "df"])


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_groups_are_held_to_what_people_within_them_differ_in(seed):
    scores, group, rows = scored(seed)
    means = rows.groupby(["a", "p", "g"], as_index=False)["y"].mean()
    least = pd.get_dummies(means[["a", "p"]]).to_numpy(float)
    whole = np.hstack([least, pd.get_dummies(means["g"] + means["p"]).to_numpy(float)])
    y, ranks = means["y"].to_numpy(), [np.linalg.matrix_rank(of) for of in (least, whole)]
    left = [((y - of @ np.linalg.lstsq(of, y, rcond=None)[0]) ** 2).sum() for of in (least, whole)]
    rest = len(y) - ranks[1]
    expected = (left[0] - left[1]) / (ranks[1] - ranks[0]) / (left[1] / rest)
    f, df, df_error, p = seen_alike(scores, group)
    assert (df, df_error) == (ranks[1] - ranks[0], rest)
    assert (f, p) == pytest.approx((expected, f_distribution.sf(expected, df, df_error)), rel=1e-8)


def test_one_session_and_one_group_tell_nothing():
    scores, group, _ = scored(1)
    assert np.isnan(seen_alike(scores[:, :, :1])[-1])
    assert np.isnan(seen_alike(scores, np.zeros_like(group))[-1])
    assert np.isnan(seen_alike(scores[[0, 4]], np.array([0, 1]))[-1])
