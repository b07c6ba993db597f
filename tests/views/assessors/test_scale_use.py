"""Words on use of the scale: what changes, what does not, from the numbers of the result."""

from dataclasses import replace

import numpy as np
import pytest

from panel.models.prototypes.ranks import find_scale_use
from panel.study.naming import Naming
from panel.study.shown import shown
from panel.views.prototypes.other_ways import _FACTORS, SCALE_USE, _scale_use_headline, _scale_use_lines, tell_scale_use
from tests.simulated_panels import simulated_panel
from tests.studies import crossed_study

NAMES = Naming(attributes={"T01": "glide", "T02": "film"})


@pytest.fixture(scope="module")
def result():
    return find_scale_use(crossed_study(np.random.default_rng(1), assessors=6, prototypes=5, attributes=3))


def told(result, **columns):
    return replace(result, attributes=result.attributes.assign(**columns))


def test_nothing_changes(result):
    same = told(result, changes=False)
    assert _scale_use_headline(same, NAMES) == "Correcting for use of the scale changes no answer."


def test_what_changes_is_named_in_words(result):
    changed = told(result, changes=[True, True, False])
    assert "changes the answer on glide and film: the result there hangs" in _scale_use_headline(changed, NAMES)


def test_nothing_estimated(result):
    none = replace(result, attributes=result.attributes.iloc[:0])
    assert _scale_use_headline(none, NAMES) == "Use of the scale cannot be taken into account on any attribute."
    assert _scale_use_lines(none, NAMES) == []


def test_lines_only_where_there_is_something_to_say(result):
    numbers = {
        "additive_statistic": 3.06,
        "statistic": 4.74,
    }
    rows = told(
        result,
        scaling_p_value=0.0004,
        disagreement_p_value=0.012,
        scaling_differs=[True, False, False],
        disagree=[False, True, False],
        **numbers,
    )
    assert _scale_use_lines(rows, NAMES) == [
        "glide: assessors use the scale differently (p < 0.001); F is 3.1 as compared, 4.7 with it.",
        "film: some see other differences than the rest (p = 0.012); F is 3.1 as compared, 4.7 with it.",
    ]


def test_the_verdicts_follow_the_p_values(result):
    # at exactly the limit nothing differs; scaling means nothing where the prototypes do not differ
    rows = result.attributes
    differ = rows["p_adjusted"] < 0.05
    assert list(rows["changes"]) == list(differ != (rows["additive_p_adjusted"] < 0.05))
    assert list(rows["suppressed"]) == list(~(rows["additive_p_adjusted"] < 0.05))
    assert list(rows["scaling_differs"]) == list((rows["scaling_p_value"] < 0.05) & ~rows["suppressed"])
    assert list(rows["disagree"]) == list(rows["disagreement_p_value"] < 0.05)


def test_tables():
    found = find_scale_use(simulated_panel(np.random.default_rng(3), assessors=6, prototypes=5))
    table, factors = shown(SCALE_USE, found, NAMES), shown(_FACTORS, found, NAMES)
    row = found.attributes.iloc[9]
    assert table.loc[9, "F, as compared"] == f"{row['additive_statistic']:.2f}"
    assert table.loc[9, "F, with use of the scale"] == f"{row['statistic']:.2f}"
    assert list(factors.columns) == ["Attribute", *[f"A{number:02d}" for number in range(1, 7)]]
    held_back = found.attributes["suppressed"].to_numpy()
    assert (factors.loc[held_back, "A01"] == "–").all()
    assert (factors.loc[~held_back, "A01"] != "–").all()


def test_it_is_said_that_this_never_replaces_the_comparison(result):
    assert "never takes its place" in tell_scale_use(result, NAMES).cannot[0]
