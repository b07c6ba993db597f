"""Draws of the panel's means: the model's own numbers, and chances that come true.

`benchmarks/decision_calibration.py` runs the same simulation many more times.
"""

import numpy as np
import pytest

from benchmarks.decision_calibration import calibration
from panel.errors import ModelError
from panel.models.decision.windows import draw_panels
from panel.models.prototypes.differences import find_differences
from tests.models.decision.known_studies import target_study

TRUTH = {"P1": (50, 50), "P2": (36, 60), "P3": (41, 54)}
SAME = 1e-9
STUDIES = 50
FOUR = 4.0  # standard errors; the cases of one study go together, which widens them by a little under a half
CLUSTER = 1.45


@pytest.fixture(scope="module")
def study():
    return target_study(TRUTH)


def test_means_and_errors_are_those_of_the_mixed_model(study):
    drawn = draw_panels(study, ("GREASE", "SOFT"), np.random.default_rng(1))
    means = find_differences(study).means.set_index(["attribute", "prototype"])
    for row, attribute in enumerate(drawn.attributes):
        own = means.loc[attribute].loc[list(drawn.prototypes)]
        assert drawn.estimate[row] == pytest.approx(own["estimate"].to_numpy(), abs=SAME)
        assert drawn.std_error[row] == pytest.approx(own["std_error"].to_numpy(), abs=SAME)
        assert drawn.df[row] == pytest.approx(own["df"].to_numpy(), rel=1e-6)


def test_errors_scatter_as_the_model_says_of_differences(study):
    drawn = draw_panels(study, ("GREASE", "SOFT"), np.random.default_rng(1), draws=20_000)
    pairs = find_differences(study).pairs.set_index(["attribute", "prototype", "versus"])
    for row, attribute in enumerate(drawn.attributes):
        # quantiles, as heavy tails make a standard deviation wander; 2 % is four standard errors of one of 20,000 draws
        told = pairs.loc[(attribute, "P2", "P1")]
        apart = drawn.errors[:, row, 1] - drawn.errors[:, row, 0]
        assert np.diff(np.quantile(apart, [0.16, 0.84]))[0] / 2 == pytest.approx(told["std_error"], rel=0.06)
        assert drawn.own_variance[row].sum() * 2 / 3 == pytest.approx(told["std_error"] ** 2, rel=SAME)


def test_the_level_of_the_people_is_no_error(study):
    drawn = draw_panels(study, ("GREASE", "SOFT"), np.random.default_rng(1))
    assert (np.sqrt(drawn.own_variance) < 0.9 * drawn.std_error).all()  # people's level is 6, what they see 4
    high = study.scores.assign(score=study.scores["score"] + 7)
    moved = draw_panels(target_study(TRUTH, scores=high), ("GREASE", "SOFT"), np.random.default_rng(1))
    assert moved.drawn == pytest.approx(drawn.drawn + 7, abs=1e-6)


def test_means_are_shrunken_towards_each_other(study):
    drawn = draw_panels(study, ("GREASE", "SOFT"), np.random.default_rng(1), draws=20_000)
    for row in range(2):
        own, shrunken = drawn.estimate[row], drawn.shrunken[row]
        assert np.ptp(shrunken) < np.ptp(own)
        assert shrunken.mean() == pytest.approx(own.mean(), abs=1e-9)  # equal errors: the middle stays
        # the draws, of all attributes together, lie about the same means
        assert drawn.drawn[:, row].mean(axis=0) == pytest.approx(shrunken, abs=0.1)


def test_the_same_seed_gives_the_same_draws(study):
    first, second = (draw_panels(study, ("GREASE",), np.random.default_rng(7)).drawn for _ in range(2))
    assert (first == second).all()


def test_an_attribute_nobody_scored_is_named(study):
    drawn = draw_panels(study, ("GREASE", "GLOSS"), np.random.default_rng(1))
    assert drawn.attributes == ("GREASE",)
    assert drawn.not_estimated == (("GLOSS", "it was not scored"),)
    with pytest.raises(
        ModelError, match=r"No attribute with a target window can be judged: GLOSS \(it was not scored\)"
    ):
        draw_panels(study, ("GLOSS",), np.random.default_rng(1))


@pytest.mark.parametrize("question", ["single", "all", "difference", "all differences"])
def test_chances_come_true_as_often_as_they_say(question, calibrated):
    rows = calibrated.loc[(calibrated["question"] == question) & (calibrated["n"] >= 20)]
    assert len(rows) >= 2
    for row in rows.to_dict("records"):
        error = np.sqrt(row["stated"] * (1 - row["stated"]) / row["n"])
        assert row["true"] == pytest.approx(row["stated"], abs=FOUR * CLUSTER * error), row


@pytest.fixture(scope="module")
def calibrated():
    return calibration(STUDIES, seed=11, draws=600, assessors=8, sessions=2, prototypes=5)
