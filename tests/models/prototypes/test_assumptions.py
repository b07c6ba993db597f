"""The whole look at the assumptions: order, adjustment, notes, the same seed, and the demo's known truth."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from statsmodels.stats.multitest import multipletests

from panel.errors import ModelError
from panel.models.prototypes.assumptions import Problem, look_at_assumptions
from panel.study.study import Study
from tests.models.prototypes.test_residual_checks import normal, one_is_wild, simulated
from tests.studies import small_study

KINDS = [Problem.UNEVEN_ASSESSORS, Problem.SPREAD_FOLLOWS_LEVEL, Problem.NOT_NORMAL]


@pytest.fixture(scope="module")
def result():
    return look_at_assumptions(small_study(), rng=np.random.default_rng(1), draws=199)


def test_every_score_and_attribute_is_there_once_in_the_order_of_the_study(result):
    study = small_study()
    assert len(result.residuals) == len(study.scores)
    assert result.residuals["row"].is_unique
    lines = result.residuals.set_index("row")
    np.testing.assert_array_equal(lines["score"], study.scores["score"].loc[lines.index - 2])
    np.testing.assert_array_equal(lines["assessor"], study.scores["assessor"].loc[lines.index - 2])
    for frame in (result.residuals, result.tests, result.assessors, result.ends, result.influence):
        assert tuple(dict.fromkeys(frame["attribute"])) == study.attributes
    assert result.tests["kind"].tolist() == KINDS * 3
    assert len(result.assessors) == 12
    assert len(result.ends) == 12


def test_p_values_are_adjusted_over_the_attributes_within_each_kind(result):
    for _, rows in result.tests.groupby("kind"):
        np.testing.assert_allclose(rows["p_adjusted"], multipletests(rows["p_value"], method="holm")[1])


def test_the_same_seed_gives_the_same_result(result):
    again = look_at_assumptions(small_study(), rng=np.random.default_rng(1), draws=199)
    pd.testing.assert_frame_equal(again.tests, result.tests)
    pd.testing.assert_frame_equal(again.problems, result.problems)


def test_quiet_panels_raise_few_alarms_and_a_wild_assessor_is_named():
    quiet = look_at_assumptions(simulated(12, normal), rng=np.random.default_rng(2), draws=299)
    assert len(quiet.problems[quiet.problems["kind"].isin(KINDS)]) <= 1
    loud = look_at_assumptions(simulated(6, one_is_wild, repeats=4), rng=np.random.default_rng(2), draws=299)
    uneven = loud.problems[loud.problems["kind"] == Problem.UNEVEN_ASSESSORS]
    assert len(uneven) == 6
    assert set(uneven["assessor"]) == {"A3"}


def test_what_a_reader_must_know_is_noted():
    study = small_study({"scale_min": None, "scale_max": None}, attributes=None)
    flat = study.scores[study.scores["attribute"] == "RO_ABS"].assign(attribute="WHITE", score=1.0)
    scores = pd.concat([study.scores, flat], ignore_index=True)
    noted = look_at_assumptions(Study({"scores": scores}), rng=np.random.default_rng(1), draws=19)
    notes = " ".join(noted.notes)
    assert "WHITE is not looked at: every score is the same" in notes
    assert "The ends of the scale are not stated for AF_GREASE, AF_STICK, RO_ABS" in notes
    assert "does not prove" in notes
    assert noted.ends.empty
    assert "19 sets of residuals" in noted.method


def test_too_few_draws_are_said_and_the_default_has_enough():
    study = simulated(30, normal, people=3, samples=2)
    few = look_at_assumptions(study, rng=np.random.default_rng(1), draws=99, candidates=1)
    assert any("99 simulated sets are too few for 30 attributes" in note for note in few.notes)
    usual = look_at_assumptions(study, rng=np.random.default_rng(1), candidates=1)
    assert usual.draws == 1200
    assert not any("too few" in note for note in usual.notes)


def test_nothing_to_look_at_is_said():
    with pytest.raises(ModelError, match="No attribute can be modelled"):
        look_at_assumptions(Study({}), rng=np.random.default_rng(1))


def test_the_demo_has_the_assessor_it_was_made_with():
    # invented data with known truth: one assessor of the demo was simulated with a wider scatter
    from panel.study.open_study import open_study

    folder = Path(__file__).parents[3] / "data_demo"
    people = pd.read_csv(folder / "reading_room_people_truth.csv")
    found = look_at_assumptions(open_study(folder / "reading_room"), rng=np.random.default_rng(1))
    named = set(found.problems.loc[found.problems["kind"] == Problem.UNEVEN_ASSESSORS, "assessor"])
    noisy = people.loc[people["truth"].str.contains("noisy"), "assessor"]
    assert named == set(noisy)
