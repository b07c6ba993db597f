"""Predictions kept and judged: written before, read back, held against what came."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from panel.errors import ModelError, StudyError
from panel.models.emollients.prediction_model import prediction_model
from panel.models.emollients.predictions import judge_predictions, keep_prediction, kept_predictions, what_if
from panel.models.prototypes.differences import find_differences
from panel.study.folder import write_study
from panel.study.open_study import open_study
from tests.blend_studies import RUNS, hand_cream, panel_scores
from tests.formula_studies import ALKANE, ALMOND, ISOSTEARATE, SHEA, hand_cream_formulas, scores_of, study_of

EFFECTS = np.array([[-15.0, -8.0, 7.0], [0.0, 0.0, 18.0]])
STUDY = hand_cream(EFFECTS)
MODEL = prediction_model(STUDY)
SPLIT = {ALKANE: 6.0, ISOSTEARATE: 5.0, ALMOND: 2.0, SHEA: 2.0}
KEPT = keep_prediction(STUDY, MODEL, what_if(MODEL, SPLIT), "P9", "2025-04-08")


def after_testing(truth_of_p9, facts):
    """The study after P9 was made and scored by the same panel, with these facts."""
    formulas = hand_cream_formulas()
    formulas["P9"] = {name: amount for name, amount in formulas["P4"].items() if name != ALMOND} | {
        ALMOND: 2.0,
        SHEA: 2.0,
    }
    truth = np.column_stack([50 + EFFECTS @ RUNS.T, truth_of_p9])
    rows = scores_of(panel_scores(truth, noise=1.0, interaction=0.5), list(formulas))
    return replace(study_of(formulas, scores=rows), facts=dict(facts))


def test_a_prediction_is_kept_with_all_it_takes_to_judge_it():
    (kept,) = kept_predictions(KEPT)
    assert (kept["prototype"], kept["predicted_on"], kept["base"]) == ("P9", "2025-04-08", "P1")
    assert kept["blend"] == SPLIT
    assert kept["based_on"] == tuple(f"P{n}" for n in range(1, 9))
    told = what_if(MODEL, SPLIT).profile
    assert kept["profile"]["estimate"].to_numpy() == pytest.approx(told["estimate"].to_numpy())
    assert STUDY.facts.get("predictions") is None  # the study itself is not changed


def test_it_survives_the_disk(tmp_path):
    write_study(KEPT, tmp_path / "study")
    (kept,) = kept_predictions(open_study(tmp_path / "study"))
    pd.testing.assert_frame_equal(kept["profile"], kept_predictions(KEPT)[0]["profile"])


def test_predicting_the_same_prototype_again_replaces_the_first():
    again = keep_prediction(KEPT, MODEL, what_if(MODEL, SPLIT | {ALMOND: 3.0, SHEA: 1.0}), "P9", "2025-04-09")
    assert [kept["predicted_on"] for kept in kept_predictions(again)] == ["2025-04-09"]


def test_a_good_prediction_is_told_as_one():
    record = judge_predictions(after_testing(50 + EFFECTS @ [1, 1, 0.5], KEPT.facts))
    assert record.outcomes["within"].all()
    assert record.summary.iloc[0].to_dict() == {"prototype": "P9", "n": 2, "within": 2, "share": 1.0, "level": 0.95}
    assert record.waiting == ()


def test_a_bad_prediction_is_told_as_one_and_errors_are_outcome_minus_prediction():
    study = after_testing(50 + EFFECTS @ [1, 1, 0.5] + np.array([30.0, 0.0]), KEPT.facts)
    record = judge_predictions(study)
    first = record.outcomes.set_index("attribute").loc["T1"]
    means = find_differences(study).means.set_index(["attribute", "prototype"])["estimate"]
    assert not first["within"]
    assert first["outcome"] == pytest.approx(means[("T1", "P9")])
    assert first["error"] == pytest.approx(first["outcome"] - first["estimate"])
    (kept,) = kept_predictions(KEPT)
    base_then = kept["profile"].set_index("attribute").loc["T1", "base"]
    drift = means[("T1", "P1")] - base_then
    assert first["error_from_base"] == pytest.approx(first["error"] - drift)
    assert record.summary.iloc[-1]["prototype"] == ""
    assert record.summary.iloc[-1]["within"] == 1


def test_what_is_not_scored_yet_is_waited_for():
    record = judge_predictions(KEPT)
    assert record.waiting == ("P9",)
    assert record.outcomes.empty
    assert record.summary.empty


def test_a_prediction_made_with_the_scores_does_not_count():
    facts = {"predictions": [dict(KEPT.facts["predictions"][0]) | {"based_on": ["P1", "P2 = P9"]}]}
    record = judge_predictions(after_testing(50 + EFFECTS @ [1, 1, 0.5], facts))
    assert record.outcomes.empty
    assert record.notes == ("P9 was among the prototypes the prediction rests on; it does not count.",)


def test_without_predictions_nothing_is_computed():
    record = judge_predictions(STUDY)
    assert record.outcomes.empty
    assert record.waiting == ()


def test_what_is_no_prediction_is_refused():
    model = prediction_model(hand_cream(EFFECTS, kept=range(7)))
    outside = what_if(model, {ALKANE: 6.0, ISOSTEARATE: 5.0, SHEA: 4.0})
    with pytest.raises(ModelError, match="no numbers to keep"):
        keep_prediction(STUDY, model, outside, "P9", "2025-04-08")
    with pytest.raises(ModelError, match="P4 has scores already"):
        keep_prediction(STUDY, MODEL, what_if(MODEL, SPLIT), "P4", "2025-04-08")
    with pytest.raises(ModelError, match="short name that the new prototype will have"):
        keep_prediction(STUDY, MODEL, what_if(MODEL, SPLIT), "", "2025-04-08")


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({"predictions": "soon"}, "is not a list"),
        ({"predictions": [{"prototype": "P9"}]}, "Prediction 1 among the facts"),
        ({"predictions": ["P9"]}, "Prediction 1 among the facts"),
    ],
)
def test_spoilt_predictions_are_said(facts, words):
    with pytest.raises(StudyError, match=words):
        kept_predictions(replace(STUDY, facts=facts))
