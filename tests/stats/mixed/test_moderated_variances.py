"""Moderated variances against R's limma, at their ends, and by simulation."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from panel.stats.assessors.departures import moderated_variances

REFERENCE = pd.read_csv(Path(__file__).parents[2] / "reference" / "moderated_variances" / "squeezed.csv")
SAME = 1e-8  # relative; limma inverts the trigamma function to that
MANY = 1000.0  # independent responses: no limit on the degrees of freedom


@pytest.mark.parametrize("case", ["scattered", "unequal"])
def test_variances_equal_limma(case):
    # R 4.2.2 and limma (Smyth 2004): values and versions in tests/reference/moderated_variances
    r = REFERENCE[REFERENCE["case"] == case]
    found = moderated_variances(r["variance"].to_numpy(), r["df"].to_numpy(float), MANY)
    assert np.isfinite(found[3])
    assert found[3] == pytest.approx(float(r["prior_df"].iloc[0]), rel=SAME)
    assert found[2] == pytest.approx(float(r["prior"].iloc[0]), rel=SAME)
    np.testing.assert_allclose(found[0], r["posterior"], rtol=SAME)
    np.testing.assert_allclose(found[1], r["df"] + found[3], rtol=SAME)


def test_variances_that_are_alike_have_one_in_common_as_in_limma():
    r = REFERENCE[REFERENCE["case"] == "alike"]
    found = moderated_variances(r["variance"].to_numpy(), r["df"].to_numpy(float))
    assert found[3] == np.inf
    assert found[2] == pytest.approx(float(r["prior"].iloc[0]), rel=SAME)
    np.testing.assert_array_less(np.abs(np.log(found[0] / found[2])), 0.2)
    np.testing.assert_allclose(found[1], 120)  # no more than all the scores hold


def test_the_degrees_of_freedom_are_limited_by_how_many_responses_are_independent():
    found = moderated_variances(np.full(12, 25.0), np.full(12, 10.0), 4.0)
    np.testing.assert_allclose(found[1], 40)
    np.testing.assert_allclose(found[0], 25.0)
    few = moderated_variances(np.full(12, 25.0), np.full(12, 10.0), 0.5)
    np.testing.assert_allclose(few[1], 10)  # never fewer than the response has itself


@pytest.mark.parametrize("variance", [[4.0, 9.0], [4.0, 9.0, np.nan], [4.0, 0.0, 9.0, np.nan]])
def test_too_few_to_have_anything_in_common_stay_as_they_are(variance):
    found = moderated_variances(np.array(variance), np.full(len(variance), 6.0))
    np.testing.assert_array_equal(found[0], variance)
    np.testing.assert_array_equal(found[1], 6.0)


def test_what_cannot_be_had_stays_and_takes_no_part():
    variance = np.array([4.0, 9.0, 6.0, np.nan, 0.0])
    found = moderated_variances(variance, np.full(5, 6.0))
    alone = moderated_variances(variance[:3], np.full(3, 6.0))
    np.testing.assert_allclose(found[0][:3], alone[0])
    assert np.isnan(found[0][3])
    assert found[0][4] == 0


def test_another_unit_changes_only_the_unit():
    rng = np.random.default_rng(1)
    variance, df = rng.chisquare(5, 9) / rng.chisquare(6, 9), np.full(9, 5.0)
    one, other = moderated_variances(variance, df), moderated_variances(49 * variance, df)
    np.testing.assert_allclose(other[0], 49 * one[0])
    np.testing.assert_allclose(other[1], one[1])


def test_tests_on_moderated_variances_keep_their_level():
    # variances drawn as the model says: t with the moderated variance is a t with the added degrees of freedom
    from scipy.stats import t

    rng = np.random.default_rng(2)
    panels, responses, df = 300, 100, 4.0
    true = 10 * 8 / rng.chisquare(8, (panels, responses))
    sample = true * rng.chisquare(df, true.shape) / df
    estimate = rng.normal(0, np.sqrt(true))
    wrong = 0
    for row in range(panels):
        found = moderated_variances(sample[row], np.full(responses, df))
        wrong += (2 * t.sf(np.abs(estimate[row]) / np.sqrt(found[0]), found[1]) < 0.01).sum()
    assert 0.008 < wrong / true.size < 0.012  # 1 % with a standard error of 0.0006; the prior is itself estimated
