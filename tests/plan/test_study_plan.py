"""A plan for a study: who and what takes part, and that nobody is served what she must avoid."""

import numpy as np
import pandas as pd
import pytest

from panel.errors import ModelError
from panel.plan.study_plan import plan_study
from tests.formula_studies import hand_cream_formulas, study_of
from tests.studies import small_study


def plan(study, **how):
    return plan_study(study, np.random.default_rng(1), **how)


def panel_avoiding(avoid):
    people = [{"assessor": f"A{n:02d}", "kind": "trained", "avoid": avoid if n == 1 else ""} for n in range(1, 11)]
    return study_of(hand_cream_formulas(), assessors=people)


def test_trained_assessors_get_the_prototypes_of_the_study():
    result = plan(small_study(), replicates=2)
    assert set(result.servings["prototype"]) == {"P1", "P2", "P3", "P4"}
    assert set(result.servings["assessor"]) == {"A01", "A02", "A03", "A04"}
    assert len(result.servings) == 32


def test_who_comes_too_seldom_to_try_everything_tries_a_part():
    study = small_study()
    result = plan(study, per_session=2, sessions=1)
    assert set(result.servings.groupby("assessor")["prototype"].nunique()) == {2}
    assert set(result.servings.groupby("prototype")["assessor"].nunique()) == {2}  # 4 people, 2 of 4 each
    assert "each tries 2 of them" in result.method
    with pytest.raises(ModelError, match="Who tries a part tries it once"):
        plan(study, replicates=2, per_session=2, sessions=1)


def test_consumers_are_left_out_and_references_unless_asked_for():
    study = small_study()
    prototypes = study.table("prototypes").assign(role=["benchmark", "prototype", "prototype", "reference"])
    people = pd.concat([study.table("assessors"), pd.DataFrame({"assessor": ["C1"], "kind": ["consumer"]})])
    study = small_study(prototypes=prototypes, assessors=people.fillna("").astype("str"))
    assert set(plan(study).servings["prototype"]) == {"P1", "P2", "P3"}
    assert "C1" not in set(plan(study).servings["assessor"])
    assert set(plan(study, prototypes=["P1", "P4"]).servings["prototype"]) == {"P1", "P4"}


def test_a_nut_allergic_assessor_is_served_nothing_that_holds_nuts():
    # every prototype of the invented cream holds sweet almond oil or shea butter
    result = plan(panel_avoiding("nuts"))
    assert "A01" not in set(result.servings["assessor"])
    assert any(note.startswith("A01 is served nothing") for note in result.notes)


def test_an_allergy_to_one_swap_takes_away_half_the_prototypes():
    result = plan(panel_avoiding("C13-15 Alkane"))
    mine = set(result.servings.loc[result.servings["assessor"] == "A01", "prototype"])
    assert mine == {"P1", "P3", "P5", "P7"}
    assert set(result.gaps["prototype"]) == {"P2", "P4", "P6", "P8"}
    assert result.balance.together["assessors"].min() == 9


def test_a_word_that_is_not_understood_has_to_be_settled_first():
    result = plan(panel_avoiding("that stuff"))
    assert "A01" not in set(result.servings["assessor"])
    assert any("A01 avoids 'that stuff'" in note and "qualified person" in note for note in result.notes)


def test_unknown_ingredients_are_named():
    people = [{"assessor": name, "kind": "trained"} for name in ("A1", "A2")]
    formulas = {"P1": {"Aqua": 90.0, "Unheard-of Extract": 10.0}, "P2": {"Aqua": 100.0}}
    notes = plan(study_of(formulas, assessors=people)).notes
    assert any("Unheard-of Extract" in note and "safety assessor" in note for note in notes)


def test_what_the_study_does_not_have_is_said():
    with pytest.raises(ModelError, match="The study has no prototype 'P9'"):
        plan(small_study(), prototypes=["P1", "P9"])
    with pytest.raises(ModelError, match="at least two prototypes and one assessor"):
        plan(small_study(assessors=None, scores=None))
