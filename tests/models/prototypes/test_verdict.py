"""The verdict on a difference follows from its interval and the margin alone."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import t

from panel.models.prototypes.verdict import (
    _MATTERS,
    _MAY_MATTER,
    CANNOT_TELL,
    DIFFERS,
    EQUIVALENT,
    SMALL,
    difference_verdicts,
)


def one(estimate, half, std_error=1.0, df=60.0, margin=8.0):
    row = {"estimate": [estimate], "std_error": [std_error], "df": [df]}
    frame = pd.DataFrame(row | {"ci_low": [estimate - half], "ci_high": [estimate + half]})
    return difference_verdicts(frame, {} if margin is None else {"": margin})["said"].iloc[0]


@pytest.mark.parametrize(
    ("estimate", "half", "verdict"),
    [
        (15, 5, _MATTERS),
        (-15, 5, _MATTERS),
        (10, 5, _MAY_MATTER),
        (-6, 5, _MAY_MATTER),
        (4, 3, SMALL),
        (-4, 3, SMALL),
        (2, 3, EQUIVALENT),
        (0, 20, EQUIVALENT),
    ],
)
def test_every_word_has_its_case(estimate, half, verdict):
    assert one(estimate, half) == verdict


def test_cannot_tell_where_the_interval_of_the_difference_alone_reaches_the_margin():
    assert one(2, 20, std_error=5.0) == CANNOT_TELL


def test_without_a_margin_only_differs_or_cannot_tell():
    assert one(15, 5, margin=None) == DIFFERS
    assert one(2, 5, margin=None) == CANNOT_TELL


@given(st.floats(-30, 30), st.floats(0.1, 10), st.floats(3, 200), st.floats(1, 20))
def test_equivalence_is_two_one_sided_tests_at_five_per_cent(estimate, std_error, df, margin):
    # Schuirmann 1987: the 90 % interval within the margins is the same as both one-sided tests at 5 %
    both = max(t.sf((estimate + margin) / std_error, df), t.sf((margin - estimate) / std_error, df))
    told = one(estimate, 1e6, std_error=std_error, df=df, margin=margin)
    if abs(both - 0.05) > 1e-9:
        assert (told == EQUIVALENT) == (both < 0.05)


def test_other_columns_stay():
    frame = pd.DataFrame(
        {"estimate": [1.0], "std_error": [1.0], "df": [9.0], "ci_low": [-1.0], "ci_high": [3.0], "x": ["k"]}
    )
    assert list(difference_verdicts(frame, {"": 2.0})["x"]) == ["k"]
    assert np.isfinite(difference_verdicts(frame, {"": 2.0})["estimate"]).all()
