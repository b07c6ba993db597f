"""The serving plan: the table of a study, even, blind, and the same for the same seed."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panel.checks.sound_study import sound_study
from panel.checks.structure import _check_references
from panel.errors import ModelError
from panel.plan.orders import _COLUMNS, _NEAREST, plan_servings
from panel.study.study import Study, empty_table

NAMES = [f"P{number}" for number in range(1, 9)]
PEOPLE = [f"A{number:02d}" for number in range(1, 11)]


def plan(prototypes=NAMES, people=PEOPLE, seed=1, **how):
    return plan_servings(prototypes, people, np.random.default_rng(seed), **how)


def test_the_servings_are_the_table_of_a_study():
    servings = plan(replicates=3).servings
    assert tuple(servings.columns) == _COLUMNS == tuple(empty_table("servings").columns)
    assert servings.dtypes.to_dict() == empty_table("servings").dtypes.to_dict()
    assert not servings.duplicated(["session", "assessor", "position"]).any()
    assert len(servings) == 3 * 10 * 8
    study = Study({"servings": servings, "prototypes": pd.DataFrame({"prototype": NAMES}, dtype="str")})
    kinds = {finding.kind for finding in _check_references(sound_study(study))}
    assert "code_used_twice" not in kinds


@given(n=st.integers(1, 14), t=st.integers(2, 8), replicates=st.integers(1, 3), seed=st.integers(0, 30))
@settings(max_examples=25, deadline=None)
def test_everybody_gets_everything_once_in_each_session(n, t, replicates, seed):
    servings = plan(NAMES[:t], [f"A{k}" for k in range(n)], seed, replicates=replicates).servings
    for (_, _), rows in servings.groupby(["session", "assessor"]):
        assert sorted(rows["prototype"]) == sorted(NAMES[:t])
        assert rows["position"].tolist() == list(range(1, t + 1))
        assert rows["site"].is_unique
    codes = servings.drop_duplicates(["session", "code"])
    assert len(codes) == t * replicates  # one prototype, one code in each session
    assert codes["code"].is_unique  # and no code in two sessions


def test_ten_people_and_eight_prototypes_are_as_even_as_can_be():
    summary = plan(replicates=3).balance.summary
    assert (summary.loc[summary["what"] != "site", "verdict"] == _NEAREST).all()


def test_the_same_seed_gives_the_same_plan():
    pd.testing.assert_frame_equal(plan(seed=4).servings, plan(seed=4).servings)
    assert not plan(seed=4).servings.equals(plan(seed=5).servings)


def test_that_there_is_no_warm_up_is_said():
    assert any("There is no warm-up" in note for note in plan().notes)


def test_the_method_says_what_was_done():
    assert "Williams square" in plan().method
    assert "split over sessions" in plan(per_session=4).method
    assert "each tries 4 of them" in plan(per_session=4, sessions=1).method


def test_consumers_get_a_part_each():
    people = [f"C{number:03d}" for number in range(1, 57)]
    result = plan(people=people, per_session=4, sessions=1)
    assert (result.servings.groupby("assessor").size() == 4).all()
    assert (result.servings["prototype"].value_counts() == 28).all()
    # four times the balanced design of 14 blocks: E = 8 * 3 / (4 * 7)
    assert np.allclose(result.balance.together["share"], 24 / 28)


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ({"prototypes": ["P1", "P1"]}, "The prototype 'P1' is named twice"),
        ({"people": ["A1", "A1"]}, "The assessor 'A1' is named twice"),
        ({"prototypes": ["P1", ""]}, "A prototype has no name"),
        ({"prototypes": ["P1"]}, "at least two prototypes and one assessor"),
        ({"people": []}, "at least two prototypes and one assessor"),
        ({"replicates": 0}, "at least one replicate"),
        ({"per_session": 1}, "at least two samples in a session"),
        ({"prototypes": [*NAMES, "P9"], "per_session": 9}, "9 samples in a session need 9 sites, and there are 8"),
    ],
)
def test_what_makes_no_plan_is_refused(how, words):
    with pytest.raises(ModelError, match=words):
        plan(**how)
