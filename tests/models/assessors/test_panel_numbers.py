"""The arrays behind a panel check: order of sessions and people, where agreement is judged, whose scatter counts."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from panel.models.assessors.measures import _panel_numbers, _per
from panel.study.study import Study
from tests.studies import crossed_study


def study_with(scores, study):
    return Study(dict(study.tables) | {"scores": scores}, study.facts)


def left_out_of(study, p_value=0.001):
    pairs = pd.MultiIndex.from_product([study.attributes, study.assessors], names=["attribute", "assessor"])
    return pairs.to_frame(index=False).assign(statistic=10.0, p_value=p_value)


@pytest.fixture
def study():
    return crossed_study(np.random.default_rng(1), assessors=5, prototypes=4, attributes=2, sessions=3)


def test_sessions_are_in_order_of_time_whatever_the_order_of_rows(study):
    plain = _panel_numbers(study, study.scores, left_out_of(study))
    backwards = study_with(study.scores.iloc[::-1], study)
    turned = _panel_numbers(backwards, backwards.scores, left_out_of(study))
    assert plain.sessions == turned.sessions == ("1", "2", "3")
    order = [turned.assessors.index(name) for name in plain.assessors]
    np.testing.assert_allclose(turned.drift.estimate[:, order], plain.drift.estimate, atol=1e-9)


def test_sessions_with_names_go_by_when_they_were_recorded(study):
    names = {"1": "warm-up", "2": "main", "3": "late"}
    times = {"warm-up": "2025-03-01", "main": "2025-03-03", "late": "2025-03-02"}
    scores = study.scores.assign(session=study.scores["session"].map(names))
    scores["recorded_at"] = scores["session"].map(times)
    named = study_with(scores, study)
    assert _panel_numbers(named, named.scores, left_out_of(study)).sessions == ("warm-up", "late", "main")
    untimed = study_with(scores.assign(recorded_at=""), study)
    assert _panel_numbers(untimed, untimed.scores, left_out_of(study)).sessions == ("warm-up", "main", "late")


def test_people_and_attributes_are_in_the_order_of_the_study(study):
    found = _panel_numbers(study, study.scores.sample(frac=1, random_state=1), left_out_of(study))
    assert found.assessors == study.assessors
    assert found.attributes == study.attributes


def test_agreement_is_judged_where_the_others_tell_the_prototypes_apart(study):
    tests = left_out_of(study)
    tests.loc[tests["assessor"] == "A02", "p_value"] = 0.06
    tests.loc[tests["assessor"] == "A03", "p_value"] = np.nan
    found = _panel_numbers(study, study.scores, tests)
    np.testing.assert_array_equal(found.judged, [[True, False, False, True, True]] * 2)
    assert np.isnan(found.apart.lower[:, 1:3]).all()
    assert np.isfinite(found.apart.lower[:, [0, 3, 4]]).all()
    stricter = _panel_numbers(study, study.scores, left_out_of(study, 0.06))
    assert not stricter.judged.any()


def test_who_scatters_more_is_judged_more_carefully(study):
    scores = study.scores
    rng = np.random.default_rng(2)
    noisy = scores["score"] + 30 * rng.normal(size=len(scores)) * (scores["assessor"] == "A01")
    found = _panel_numbers(study, scores, left_out_of(study))
    more = _panel_numbers(study, scores.assign(score=noisy), left_out_of(study))
    ratio = more.apart.std_error / found.apart.std_error
    assert (ratio[:, 0] > ratio[:, 1:].max(axis=1)).all()


def test_one_session_means_no_drift():
    study = crossed_study(np.random.default_rng(3), assessors=4, prototypes=4, attributes=2, sessions=1)
    found = _panel_numbers(study, study.scores, left_out_of(study))
    assert found.sessions == ("1",)
    assert np.isnan(found.drift.estimate).all()


def test_the_variance_of_a_mean_is_that_of_a_score_over_the_scores_in_it():
    # six scores make three means, two each: half of the variance; eight make two: a quarter; who has none has none
    own = SimpleNamespace(counts=np.array([[[2, 2, 2], [4, 4, 0], [0, 0, 0]]]))
    assert _per(np.array([[4.0, 4.0, 4.0]]), own, np.array([[3, 2, 0]])).tolist() == [[2.0, 1.0, 0.0]]
