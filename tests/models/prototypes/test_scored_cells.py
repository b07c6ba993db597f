"""The way back from a cell of the arrays to its score."""

import numpy as np
import pandas as pd
import pytest

from panel.errors import ModelError
from panel.models.prototypes.assumptions import _scored_panels
from panel.models.prototypes.panel_design import fit_panel
from panel.study.scores_used import scores_used
from panel.study.study import Study
from tests.models.prototypes.test_differences import fries
from tests.studies import small_study


def check(study):
    frame = scores_used(study).frame
    panels, left_out = _scored_panels(study)
    scores = frame["score"].to_numpy(dtype=float)
    seen = []
    for panel in panels:
        there = panel.place >= 0
        np.testing.assert_array_equal(there, np.isfinite(panel.design.response))
        np.testing.assert_array_equal(panel.design.response[there], scores[panel.place[there]])
        people, samples = frame["assessor"].to_numpy(), frame["prototype"].to_numpy()
        for column, attribute in enumerate(panel.design.attributes):
            rows = panel.place[there[:, column], column]
            assert (frame["attribute"].to_numpy()[rows] == attribute).all()
            own = np.array(panel.design.assessors)[panel.design.groups[0][there[:, column]]]
            assert (people[rows] == own).all()
            k = len(panel.design.prototypes)
            sample = panel.design.fixed[there[:, column], :k].argmax(axis=1)
            assert (samples[rows] == np.array(panel.design.prototypes)[sample]).all()
            seen += rows.tolist()
    return frame, panels, left_out, seen


@pytest.mark.parametrize("kept", ["all", "thin_3_6"])
def test_every_score_stands_in_one_cell(kept):
    frame, _, _, seen = check(fries(kept, session=True))
    assert sorted(seen) == list(range(len(frame)))


def test_shuffled_rows_find_their_cells_too():
    study = small_study()
    mixed = study.scores.sample(frac=1, random_state=5).reset_index(drop=True)
    check(Study({**study.tables, "scores": mixed}, study.facts))


def test_attributes_left_out_do_not_move_the_others():
    study = small_study()
    first = study.scores[study.scores["attribute"] == "RO_ABS"]
    flat = first.assign(attribute="AAA", score=5.0, session="9")  # comes first and brings a session of its own
    scores = pd.concat([flat, study.scores], ignore_index=True)
    frame, panels, left_out, seen = check(Study({**study.tables, "scores": scores}, study.facts))
    assert left_out == [("AAA", "every score is the same")]
    assert sorted(seen) == np.flatnonzero(frame["attribute"] != "AAA").tolist()
    plain, _ = fit_panel(study, scores_used(study).frame)
    np.testing.assert_allclose(panels[0].fit.coefficients, plain[0][1].coefficients, rtol=1e-6)


def test_nothing_to_model_is_said():
    study = small_study()
    with pytest.raises(ModelError, match="No attribute can be modelled: the study has no scores"):
        _scored_panels(Study({**study.tables, "scores": study.scores.iloc[:0]}, study.facts))
    flat = study.scores.assign(score=1.0)
    with pytest.raises(ModelError, match=r"RO_ABS \(every score is the same\)"):
        _scored_panels(Study({**study.tables, "scores": flat}, study.facts))
