"""Planned differences against the contrasts of the model, and the notes on them."""

import numpy as np
import pytest
from scipy.stats import t as student
from statsmodels.stats.multitest import multipletests

from panel.models.prototypes.alike import _PLANNED_COLUMNS, planned_differences
from panel.models.prototypes.differences import find_differences
from tests.studies import small_study

SAME = 1e-9  # relative; the same fit read twice
PLAN = [
    {"prototype": "P2", "versus": "P1"},
    {"prototype": "P1", "versus": "P3", "attribute": "AF_GREASE"},
]


@pytest.fixture(scope="module")
def study():
    return small_study({"planned_differences": PLAN})


@pytest.fixture(scope="module")
def result(study):
    return find_differences(study, versus="P1")


def test_planned_differences_are_the_contrasts_of_the_model_each_for_itself(study, result):
    found = planned_differences(study, result).differences
    attributes = list(result.attributes["attribute"])
    assert list(found["attribute"]) == [*attributes, "AF_GREASE"]
    assert list(zip(found["prototype"], found["versus"], strict=True)) == [("P2", "P1")] * len(attributes) + [
        ("P1", "P3")
    ]
    means = result.means.set_index(["attribute", "prototype"])["estimate"]
    ends = zip(found["attribute"], found["prototype"], found["versus"], strict=True)
    differences = [means[name, one] - means[name, other] for name, one, other in ends]
    np.testing.assert_allclose(found["estimate"], differences, rtol=SAME)
    # SciPy's t distribution as a second computation of test and interval
    np.testing.assert_allclose(found["p_value"], 2 * student.sf(abs(found["statistic"]), found["df"]), rtol=SAME)
    half = student.ppf(0.975, found["df"]) * found["estimate"] / found["statistic"]
    np.testing.assert_allclose(found["ci_high"] - found["ci_low"], 2 * half, rtol=SAME)


def test_planned_p_values_are_adjusted_over_all_that_was_planned(study, result):
    planned = planned_differences(study, result).differences
    # statsmodels as a second computation of Holm
    np.testing.assert_allclose(planned["p_adjusted"], multipletests(planned["p_value"], method="holm")[1], rtol=SAME)


def test_nothing_planned_gives_no_rows_and_says_so():
    study = small_study()
    found = planned_differences(study, find_differences(study))
    assert list(found.differences.columns) == list(_PLANNED_COLUMNS)
    assert len(found.differences) == 0
    assert found.method == "No difference was planned."
    assert found.notes == ()


def test_what_was_not_scored_is_said(study):
    scores = study.scores[~((study.scores["prototype"] == "P2") & (study.scores["attribute"] == "AF_STICK"))]
    thinned = small_study({"planned_differences": PLAN}, scores=scores)
    found = planned_differences(thinned, find_differences(thinned))
    assert any(note.startswith("P2 minus P1 is not tested on stickiness:") for note in found.notes)


def test_what_cannot_be_read_is_among_the_notes(result):
    study = small_study({"planned_differences": ["nonsense"]})
    assert any(
        "is not read" in note and "into planned_differences" in note
        for note in planned_differences(study, result).notes
    )


def test_that_nothing_shows_when_it_was_written_is_said(study, result):
    assert any("before anybody saw" in note for note in planned_differences(study, result).notes)
