"""Odd shapes of panels against a second computation: REML, Satterthwaite's df and the F test from dense matrices.

The second computation knows nothing of the first: the likelihood of Patterson and Thompson (1971) maximised as it is
over the variances, and derivatives by differences; formulas of Giesbrecht and Burns (1985) and, for the F test, of
Fai and Cornelius (1996), as the lmerTest paper has them (Kuznetsova, Brockhoff and Christensen 2017); from memory.
"""

from itertools import product

import numpy as np
import pandas as pd
import pytest
from scipy.linalg import solve_triangular
from scipy.optimize import minimize
from scipy.stats import f as f_distribution
from scipy.stats import t as t_distribution

from panel.models.prototypes.differences import find_differences
from panel.study.study import Study

ESTIMATE, DF = 2e-6, 2e-3  # relative; second derivatives by differences have four digits


def rows(rng, assessors, prototypes, sessions=1, replicates=1, session_sd=1.5):
    """Return complete scores with a level, an own view, a sitting and scatter."""
    names = (("A", assessors), ("P", prototypes), ("", sessions), ("", replicates))
    cells = list(product(*([f"{letter}{n + 1:02d}" for n in range(count)] for letter, count in names)))
    frame = pd.DataFrame(cells, columns=["assessor", "prototype", "session", "replicate"])
    score = 50 + rng.normal(0, 8, len(frame))
    for keys, sd in ((["assessor"], 6), (["assessor", "prototype"], 6), (["prototype"], 5)):
        number = frame.groupby(keys).ngroup()
        score += sd * rng.normal(size=number.max() + 1)[number]
    sitting = frame.groupby(["assessor", "session"]).ngroup()
    score += 4 * session_sd * rng.normal(size=sitting.max() + 1)[sitting] * (sessions > 1)
    return frame.assign(score=score)


def _unbalanced(rng):
    frame = rows(rng, 7, 5, replicates=4)
    return frame.loc[rng.random(len(frame)) < rng.uniform(0.3, 1, 7)[frame.groupby("assessor").ngroup()]]


def _cells_missing(rng):
    frame = rows(rng, 6, 5, sessions=3)
    gone = (frame["assessor"] == "A01") & (frame["prototype"] == "P05")
    return frame.loc[~gone & (rng.random(len(frame)) < 0.8)]


def _two_prototypes(rng):
    return rows(rng, 6, 2, replicates=3)


def _one_repeat(rng):
    return rows(rng, 8, 5)


def _sessions_of_their_own(rng):
    frame = rows(rng, 8, 4, sessions=4)
    person = frame.groupby("assessor").ngroup()
    return frame.loc[(frame["session"].astype(int) > 2) == (person > 3)]


def _benchmark_replicated(rng):
    frame = rows(rng, 8, 4, replicates=4)
    return frame.loc[(frame["prototype"] == "P01") | (frame["replicate"].astype(int) <= 2)]


def _constant_assessor(rng):
    frame = rows(rng, 7, 4, replicates=2)
    return frame.assign(score=frame["score"].where(frame["assessor"] != "A03", 50.0))


def _ties(rng):
    frame = rows(rng, 9, 4, replicates=2)
    return frame.assign(score=(frame["score"] / 12).round())


def _hair_apart(rng):
    frame = rows(rng, 8, 4, replicates=2)
    return frame.assign(score=50 + 1e-9 * frame["score"])


def _about_zero(rng):
    frame = rows(rng, 8, 4, replicates=2)
    return frame.assign(score=((frame["score"] - 50) / 5).clip(-5, 5))


def _three_assessors(rng):
    return rows(rng, 3, 5, replicates=3)


def _thirty_in_blocks(rng):
    frame = rows(rng, 10, 30, replicates=2)
    block, number = frame.groupby("assessor").ngroup() % 5, frame.groupby("prototype").ngroup()
    return frame.loc[(number // 6 == block) | (number == 0)]


SHAPES = (
    _unbalanced,
    _cells_missing,
    _two_prototypes,
    _one_repeat,
    _sessions_of_their_own,
    _benchmark_replicated,
    _constant_assessor,
    _ties,
    _hair_apart,
    _about_zero,
    _three_assessors,
    _thirty_in_blocks,
)


def indicators(frame, *keys):
    return np.eye(frame.groupby(list(keys)).ngroups)[frame.groupby(list(keys)).ngroup()]


class Dense:
    """REML over dense matrices; the scores are centred and scaled first, which changes no test."""

    def __init__(self, frame):
        x = indicators(frame, "prototype")
        if len(frame["session"].unique()) > 1:
            session = indicators(frame, "session")
            x = np.hstack([x, session[:, :-1] - session[:, -1:]])
        terms = [["assessor"]]
        if frame.duplicated(["assessor", "prototype"]).any():
            terms.append(["assessor", "prototype"])
        if frame.groupby("assessor")["session"].nunique().max() > 1:
            terms.append(["assessor", "session"])
        y = frame["score"].to_numpy()
        self.middle, self.scale = y.mean(), y.std()
        self.x, self.y = x, (y - self.middle) / self.scale
        self.parts = [each @ each.T for each in (indicators(frame, *keys) for keys in terms)] + [np.eye(len(y))]
        start = np.full(len(self.parts), 1 / len(self.parts))
        bounds = [(0, None)] * (len(start) - 1) + [(1e-6, None)]
        found = minimize(self.deviance, start, method="L-BFGS-B", bounds=bounds, options={"ftol": 1e-14}).x
        self.parts = [part for part, own in zip(self.parts, found, strict=True) if own > 1e-7]  # none: left out
        found = found[found > 1e-7]
        for _ in range(4):  # Newton's steps, on derivatives by differences
            slope, curve = self._differences(found)
            found = found - np.linalg.solve(curve, slope)
        self.variances, self.information = found, curve
        self.mean, self.covariance = self._solve(found)
        self.slopes = [self._slope(move) for move in np.diag(1e-4 * found)]

    def _weighed(self, variances):
        root = np.linalg.cholesky(sum(own * part for own, part in zip(variances, self.parts, strict=True)))
        both = solve_triangular(root, np.column_stack([self.x, self.y]), lower=True)
        return root, both[:, :-1], both[:, -1]

    def _solve(self, variances):
        _, x, y = self._weighed(variances)
        covariance = np.linalg.inv(x.T @ x)
        return covariance @ x.T @ y, covariance

    def deviance(self, variances):
        root, x, y = self._weighed(variances)
        left = y - x @ np.linalg.lstsq(x, y, rcond=None)[0]
        return 2 * np.log(np.diag(root)).sum() + np.linalg.slogdet(x.T @ x)[1] + left @ left

    def _differences(self, at):
        step = np.diag(2e-4 * at)
        n = len(at)
        slope = np.array([self.deviance(at + h) - self.deviance(at - h) for h in step]) / (2 * np.diag(step))
        curve = np.empty((n, n))
        for i, j in product(range(n), repeat=2):
            signs = [
                self.deviance(at + step[i] + step[j]),
                -self.deviance(at + step[i] - step[j]),
                -self.deviance(at - step[i] + step[j]),
                self.deviance(at - step[i] - step[j]),
            ]
            curve[i, j] = sum(signs) / (4 * step[i, i] * step[j, j])
        return slope, curve

    def _slope(self, move):
        up, down = (self._solve(self.variances + sign * move)[1] for sign in (1, -1))
        return (up - down) / (2 * move.sum())

    def _df(self, contrast):
        slopes = np.array([contrast @ each @ contrast for each in self.slopes])
        variance = contrast @ self.covariance @ contrast
        return 2 * variance**2 / (slopes @ (2 * np.linalg.inv(self.information)) @ slopes)

    def estimate(self, contrast):
        error, df = np.sqrt(contrast @ self.covariance @ contrast), self._df(contrast)
        value = contrast @ self.mean
        p = 2 * t_distribution.sf(abs(value) / error, df)
        return value * self.scale, error * self.scale, df, p

    def f_test(self, k):
        # one after another, as a sequential analysis of variance: pooled df depend on the rows in the third digit
        coded = np.column_stack([np.ones(len(self.y)), self.x[:, 1:k]])
        reduced = coded.T @ coded
        for place in range(k):
            below = reduced[place + 1 :, [place]] / reduced[place, place]
            reduced[place + 1 :] -= below * reduced[place]
        own = reduced[1:, 1:] / np.diag(reduced)[1:, None]
        contrasts = np.hstack([-own.sum(axis=1, keepdims=True), own, np.zeros((k - 1, self.x.shape[1] - k))])
        values, vectors = np.linalg.eigh(contrasts @ self.covariance @ contrasts.T)
        turned = vectors.T @ contrasts
        statistic = ((turned @ self.mean) ** 2 / values).sum() / (k - 1)
        nu = np.array([self._df(each) for each in turned])
        expected = (nu / (nu - 2))[nu > 2].sum()
        df = nu[0] if k == 2 else 2 * expected / (expected - (k - 1))
        return statistic, df, f_distribution.sf(statistic, k - 1, df)


def study_of(frame):
    scores = frame.assign(attribute="T", batch="").astype({"session": "str", "replicate": "str"})
    names = sorted(frame["prototype"].unique())
    roles = ["benchmark", *["prototype"] * (len(names) - 1)]
    return Study({"prototypes": pd.DataFrame({"prototype": names, "role": roles}), "scores": scores}, {})


@pytest.mark.parametrize("shape", SHAPES, ids=lambda shape: shape.__name__.strip("_"))
def test_an_odd_shape_agrees_with_dense_matrices(shape):
    frame = shape(np.random.default_rng(20251129)).reset_index(drop=True)
    found, dense = find_differences(study_of(frame)), Dense(frame)
    k = frame["prototype"].nunique()
    test = found.attributes.iloc[0]
    statistic, df, p = dense.f_test(k)
    assert test["statistic"] == pytest.approx(statistic, rel=1e-4)
    assert test["df"] == k - 1
    assert test["df_error"] == pytest.approx(df, rel=DF)
    assert test["p_value"] == pytest.approx(p, rel=DF, abs=1e-9)
    one = np.eye(k, dense.x.shape[1])
    for place, row in enumerate(found.means.to_dict("records")):
        value, error, df, _ = dense.estimate(one[place])
        assert row["estimate"] == pytest.approx(value + dense.middle, rel=ESTIMATE)
        assert (row["std_error"], row["df"]) == (pytest.approx(error, rel=1e-4), pytest.approx(df, rel=DF))
    for row in found.pairs.iloc[:: max(1, len(found.pairs) // 6)].to_dict("records"):
        place, other = (int(row[key][1:]) - 1 for key in ("prototype", "versus"))
        value, error, df, p = dense.estimate(one[place] - one[other])
        assert row["estimate"] == pytest.approx(value, rel=1e-4, abs=1e-6 * error)
        assert (row["std_error"], row["df"]) == (pytest.approx(error, rel=1e-4), pytest.approx(df, rel=DF))
        assert row["p_value"] == pytest.approx(p, rel=DF, abs=1e-9)


@pytest.mark.parametrize("shape", SHAPES, ids=lambda shape: shape.__name__.strip("_"))
def test_rows_names_and_the_zero_of_an_odd_shape_do_not_matter(shape):
    frame = shape(np.random.default_rng(20251129)).reset_index(drop=True)
    new = {name: f"person {9 - number % 10}{number}" for number, name in enumerate(frame["assessor"].unique())}
    changed = frame.sample(frac=1, random_state=1).assign(assessor=lambda own: own["assessor"].map(new))
    changed = changed.assign(score=changed["score"] + 1024.0)
    columns = ["estimate", "std_error", "df", "p_value", "ci_low", "ci_high"]
    one, other = (find_differences(study_of(own)) for own in (frame, changed))
    fine = 1e-7 if shape is not _hair_apart else 2e-3  # 1024 has room for 2e-13 only
    size = one.pairs["std_error"].max()
    for name in columns:
        left, right = (own.pairs[name].to_numpy() for own in (one, other))
        assert right == pytest.approx(left, rel=fine, abs=fine * size), name
    assert other.attributes["statistic"].iloc[0] == pytest.approx(one.attributes["statistic"].iloc[0], rel=fine)
