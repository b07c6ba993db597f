"""Words on use of the scale: what changes, what does not, from the numbers of the result."""

from dataclasses import replace

import numpy as np
import pytest

from panel.models.prototypes.scale_use import find_scale_use
from panel.study.naming import Naming
from panel.views.assessors.assessor_words import scale_use_headline, what_scale_use_cannot_show, what_scale_use_shows
from tests.studies import crossed_study

NAMES = Naming(attributes={"T01": "glide", "T02": "film"})


@pytest.fixture(scope="module")
def result():
    return find_scale_use(crossed_study(np.random.default_rng(1), assessors=6, prototypes=5, attributes=3))


def told(result, **columns):
    return replace(result, attributes=result.attributes.assign(**columns))


def test_nothing_changes(result):
    same = told(result, p_value=0.001, additive_p_value=0.01)
    expected = "Taking each assessor's use of the scale into account changes the answer on none of 3 attributes."
    assert scale_use_headline(same, NAMES) == expected


def test_what_changes_is_named_in_words(result):
    changed = told(result, p_value=[0.001, 0.2, 0.001], additive_p_value=[0.2, 0.001, 0.001])
    assert "changes the answer on glide and film: the result there hangs" in scale_use_headline(changed, NAMES)


def test_nothing_estimated(result):
    none = replace(result, attributes=result.attributes.iloc[:0])
    assert scale_use_headline(none, NAMES) == "Use of the scale cannot be taken into account on any attribute."
    assert what_scale_use_shows(none, NAMES) == []


def test_lines_only_where_there_is_something_to_say(result):
    numbers = {"additive_statistic": 3.06, "statistic": 4.74, "suppressed": False}
    rows = told(result, scaling_p_value=[0.0004, 0.5, 0.5], disagreement_p_value=[0.5, 0.012, np.nan], **numbers)
    assert what_scale_use_shows(rows, NAMES) == [
        "glide: assessors use the scale differently (p < 0.001); F is 3.1 as compared, 4.7 with it.",
        "film: some see other differences than the rest (p = 0.012); F is 3.1 as compared, 4.7 with it.",
    ]


def test_scaling_is_not_told_where_it_means_nothing(result):
    rows = told(result, scaling_p_value=0.0004, disagreement_p_value=0.5, suppressed=True)
    assert what_scale_use_shows(rows, NAMES) == []


def test_it_is_said_that_this_never_replaces_the_comparison():
    assert "never takes its place" in what_scale_use_cannot_show()[0]
