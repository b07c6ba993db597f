"""The verdict on a difference follows from its interval and the margin alone."""

from itertools import product

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import t
from statsmodels.formula.api import ols
from statsmodels.stats.anova import AnovaRM, anova_lm
from statsmodels.stats.multitest import multipletests

from panel.models.prototypes.verdict import (
    _MATTERS,
    _MAY_MATTER,
    CANNOT_TELL,
    DIFFERS,
    EQUIVALENT,
    SMALL,
    difference_verdicts,
    seen_differently,
)
from panel.study.study import Study


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


def _seen(people, sessions=2, groups=(), turned=(), gone=()):
    """Three prototypes 20 apart; in the second session, or for the groups in `turned`, the other way round."""
    rng, rows = np.random.default_rng(7), []
    for a in range(people):
        for p, s, attribute in product(range(3), range(sessions), ("A", "B")):
            back = attribute == "A" and (groups[a] in turned if groups else s == 1)
            score = 50 + 20 * (1 - p if back else p - 1) + rng.normal(0, 1)
            row = {"assessor": f"J{a}", "prototype": f"P{p}", "session": f"S{s}", "attribute": attribute}
            rows += [] if (a, p) in gone else [row | {"score": score}]
    listed = pd.DataFrame({"assessor": [f"J{a}" for a in range(people)], "group": groups or [""] * people})
    tables = {"scores": pd.DataFrame(rows), "assessors": listed, "attributes": pd.DataFrame({"attribute": ["A", "B"]})}
    return Study(tables, {"scale_min": 0, "scale_max": 100}), tables["scores"]


@pytest.mark.parametrize(("gone", "whole"), [((), "J0 J1 J2"), (((2, 0),), "J0 J1"), (((2, 0), (1, 1)), "")])
def test_sessions_are_compared_by_the_people_who_scored_everything_two_are_enough(gone, whole):
    """Against the interaction of statsmodels' analysis of variance for repeated measures."""
    study, scores = _seen(3, gone=gone)
    own = scores.loc[scores["assessor"].isin(whole.split())]
    found = {}
    for name in ("A", "B") if whole else ():
        one = own.loc[own["attribute"] == name]
        table = AnovaRM(one, "score", "assessor", within=["prototype", "session"]).fit().anova_table
        found[name] = float(table.loc["prototype:session", "Pr > F"])
    shown = dict(zip(found, multipletests([*found.values()], method="holm")[0], strict=True)) if found else {}
    assert seen_differently(study) == {name: "sessions" for name, yes in shown.items() if yes}
    assert shown == ({"A": True, "B": False} if whole else {})


@pytest.mark.parametrize("turned", ["south", ""])
def test_groups_of_assessors_are_compared_and_who_is_in_none_is_left_out(turned):
    """Against statsmodels' least squares: groups by prototypes beside what is left of people by prototypes."""
    groups = ["north", "north", "south", "south", ""]
    study, scores = _seen(5, 1, groups, turned=(turned,))
    p = []
    for name in ("A", "B"):
        one = scores.loc[(scores["attribute"] == name) & (scores["assessor"] != "J4")]
        south = one["assessor"].isin(["J2", "J3"])
        one = one.assign(u=south & (one["prototype"] == "P1"), v=south & (one["prototype"] == "P2"))
        plain = "score ~ C(assessor) + C(prototype)"
        fits = [ols(formula, one).fit() for formula in (plain, f"{plain} + u + v")]
        p.append(float(anova_lm(*fits)["Pr(>F)"].iloc[1]))
    shown = dict(zip("AB", multipletests(p, method="holm")[0], strict=True))
    assert shown["A"] == (turned == "south")
    assert seen_differently(study) == {name: "groups of assessors" for name, yes in shown.items() if yes}
    assert seen_differently(_seen(5, 1, ["north"] * 5, turned=("south",))[0]) == {}
