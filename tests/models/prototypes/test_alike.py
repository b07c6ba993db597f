"""Two one-sided tests and 'not worse' on the differences of a panel, against a library and against their intervals."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as some
from statsmodels.stats.tests.test_tost import clinic
from statsmodels.stats.weightstats import DescrStatsW

from panel.errors import ModelError
from panel.models.prototypes.alike import (
    _NOT_SHOWN,
    BEYOND,
    NO_DIRECTION,
    NOT_WORSE,
    WORSE,
    find_alike,
)
from panel.models.prototypes.differences import find_differences
from panel.models.prototypes.verdict import EQUIVALENT
from panel.study.study import Study
from tests.studies import small_study

SAME = 1e-6  # relative; the model's variances come from iteration
RNG = np.random.default_rng(12)
PEOPLE = 14


def paired(shift=0.3, spread=1.0):
    """Return the scores of two prototypes by people who scored each once: the mixed model is the paired t test."""
    level = RNG.normal(50, 5, PEOPLE)
    own = np.column_stack([level, level + shift]) + RNG.normal(0, spread, (PEOPLE, 2))
    frame = pd.DataFrame(
        {
            "assessor": np.repeat([f"A{k}" for k in range(PEOPLE)], 2),
            "prototype": ["P1", "P2"] * PEOPLE,
            "attribute": "x",
            "score": own.ravel(),
        }
    )
    return own, frame


def paired_study(frame, direction="", **facts):
    attributes = pd.DataFrame({"attribute": ["x"], "direction": [direction]})
    return Study({"scores": frame, "attributes": attributes}, {"benchmark": "P1", **facts})


def test_paired_differences_as_in_r():
    # R package equivalence, function tost, margin 0.6; values kept in the tests of statsmodels, data `clinic`. In its
    # other variable people do not keep their level: their variance is zero, and the pairs are gone.
    frame = pd.DataFrame(
        {
            "assessor": [f"A{k}" for k in range(15)] * 2,
            "prototype": ["P2"] * 15 + ["P1"] * 15,
            "attribute": "x",
            "score": clinic[:, 2],
        }
    )
    study = paired_study(frame)
    stated = Study(study.tables, study.facts | {"margin": 0.6})
    row = find_alike(stated, find_differences(stated)).differences.iloc[0]
    np.testing.assert_allclose([row["ci_low"], row["ci_high"]], (-0.0744336620516462, 0.4037669953849797), atol=SAME)
    assert row["p_value"] == pytest.approx(0.003166881489265175, rel=SAME)
    assert row["verdict"] == EQUIVALENT


@pytest.mark.parametrize("margin", [0.5, 1.0, 2.0])
def test_two_one_sided_tests_equal_statsmodels_on_paired_scores(margin):
    own, frame = paired()
    study = paired_study(frame)
    row = find_alike(study, find_differences(study, margin=margin)).differences.iloc[0]
    p_value, low, high = DescrStatsW(own[:, 1] - own[:, 0]).ttost_mean(-margin, margin)
    assert row["p_value"] == pytest.approx(p_value, rel=SAME)
    assert row["low_p"] == pytest.approx(low[1], rel=SAME)
    assert row["high_p"] == pytest.approx(high[1], rel=SAME)
    ends = DescrStatsW(own[:, 1] - own[:, 0]).tconfint_mean(0.10)
    np.testing.assert_allclose([row["ci_low"], row["ci_high"]], ends, rtol=SAME)


@pytest.mark.parametrize(("direction", "alternative"), [("more", "larger"), ("less", "smaller")])
def test_not_worse_equals_the_one_sided_test_of_statsmodels(direction, alternative):
    own, frame = paired()
    study = paired_study(frame, direction)
    row = find_alike(study, find_differences(study, margin=1.0)).differences.iloc[0]
    against = -1.0 if direction == "more" else 1.0
    _, p_value, _ = DescrStatsW(own[:, 1] - own[:, 0]).ttest_mean(against, alternative)
    assert row["not_worse_p"] == pytest.approx(p_value, rel=SAME)
    # the bound is one end of the two-sided 90 % interval
    assert row["bound"] == pytest.approx(row["ci_low"] if direction == "more" else row["ci_high"], rel=SAME)


@given(margin=some.floats(0.5, 60))
def test_verdicts_follow_the_interval(margin):
    # two one-sided tests at alpha are the (1 - 2 alpha) interval within the margins (Schuirmann 1987)
    rows = find_alike(STUDY, at_margin(margin, stated=True)).differences
    within = (rows["deciding_low"] > -margin) & (rows["deciding_high"] < margin)
    outside = (rows["deciding_low"] > margin) | (rows["deciding_high"] < -margin)
    assert list(within) == list(rows["p_adjusted"] < 0.05)
    expected = np.where(within, EQUIVALENT, np.where(outside, BEYOND, _NOT_SHOWN))
    assert list(rows["verdict"]) == list(expected)
    worse_side = np.where(rows["direction"] == "more", rows["bound"] > -margin, rows["bound"] < margin)
    known = rows["direction"] != ""
    assert list((rows["not_worse"] == NOT_WORSE)[known]) == list(worse_side[known.to_numpy()])


def with_directions():
    attributes = small_study().table("attributes")
    return small_study(attributes=attributes.assign(direction=["more", "less", "describe"]))


STUDY = with_directions()
_RESULT = find_differences(STUDY, versus="P1", margin=5.0)


def at_margin(margin, *, stated=False):
    return replace(_RESULT, margins=dict.fromkeys(_RESULT.margins, margin), margin_stated=stated)


def test_worse_by_more_than_the_margin_is_said_on_the_worse_side_only():
    rows = find_alike(STUDY, at_margin(0.5)).differences.set_index(["attribute", "prototype"])
    # P2 has the fast slot: soaks in faster, by 14, and sticks less
    assert rows.loc[("RO_ABS", "P2"), "not_worse"] == NOT_WORSE
    turned = find_alike(STUDY, at_margin(0.5), [("P1", "P2")]).differences.set_index("attribute")
    assert turned.loc["RO_ABS", "not_worse"] == WORSE
    assert (turned.loc["RO_ABS", "estimate"]) == pytest.approx(-rows.loc[("RO_ABS", "P2"), "estimate"])


def test_without_a_direction_nothing_is_better_and_this_is_said():
    found = find_alike(STUDY, at_margin(5.0))
    rows = found.differences[found.differences["attribute"] == "AF_GREASE"]
    assert (rows["not_worse"] == NO_DIRECTION).all()
    assert rows[["bound", "not_worse_p"]].isna().all(axis=None)
    assert any("whether more or less is better on 1 of the attributes" in note for note in found.notes)


def test_turning_a_pair_round_turns_its_interval():
    one = find_alike(STUDY, at_margin(5.0), [("P3", "P2")]).differences
    other = find_alike(STUDY, at_margin(5.0), [("P2", "P3")]).differences
    np.testing.assert_allclose(one["ci_low"], -other["ci_high"])
    np.testing.assert_allclose(one["p_value"], other["p_value"])
    assert list(one["verdict"]) == list(other["verdict"])


def test_without_a_margin_there_are_no_rows_and_it_is_said_what_to_do():
    found = find_alike(STUDY, find_differences(STUDY, versus="P1"))
    assert {"attribute", "prototype", "versus", "verdict", "bound", "not_worse"} <= set(found.differences)
    assert found.differences.empty
    assert found.notes[0].startswith("No margin was set")
    assert '"margin"' in found.notes[0]


@pytest.mark.parametrize("margin", [0.0, -3.0])
def test_a_margin_that_is_none_is_refused(margin):
    with pytest.raises(ModelError, match=r"must be above zero.*Set one such as 5"):
        find_alike(STUDY, at_margin(margin))


def test_without_a_benchmark_a_pair_has_to_be_chosen():
    roles = small_study().table("prototypes").assign(role="prototype")
    study = small_study(prototypes=roles)
    result = find_differences(study, margin=5.0)
    assert find_alike(study, result).notes[0].startswith("There is no benchmark to be alike with.")
    assert find_alike(study, result, []).notes[0].startswith("None of these pairs")
    assert len(find_alike(study, result, [("P1", "P2")]).differences) == 3


def test_a_margin_of_the_study_is_told_from_one_typed_in():
    own = small_study({"margin": 5})
    assert find_alike(own, find_differences(own, versus="P1")).margin_stated
    assert not find_alike(own, find_differences(own, versus="P1", margin=7.0)).margin_stated


def test_two_alike_prototypes_are_called_alike_as_rarely_as_promised_at_the_margin():
    # a true difference of exactly the margin: two one-sided tests err in at most 5 of 100 (Schuirmann 1987)
    rng = np.random.default_rng(7)
    panels, people, margin = 1000, 10, 4.0
    level = rng.normal(50, 5, (people, 1, 1, panels)) + np.array([0.0, margin])[None, :, None, None]
    scores = level + rng.normal(0, 2, (people, 2, 1, panels)) + rng.normal(0, 3, (people, 2, 2, panels))
    index = np.indices(scores.shape).reshape(4, -1)
    frame = pd.DataFrame(
        {
            "assessor": np.char.add("A", index[0].astype(str)),
            "prototype": np.char.add("P", (index[1] + 1).astype(str)),
            "replicate": index[2].astype(str),
            "attribute": np.char.add("T", index[3].astype(str)),
            "score": scores.ravel(),
        }
    )
    study = Study({"scores": frame}, {"benchmark": "P1", "margin": margin})
    found = find_alike(study, find_differences(study)).differences
    share = (found["p_value"] < 0.05).mean()  # each alone, and not one of them beside 999 others
    assert (found["verdict"] == EQUIVALENT).sum() <= 1
    assert abs(share - 0.05) < 3 * np.sqrt(0.05 * 0.95 / panels)  # three standard errors of a share


# A difference that matters has the units of its attribute: points of a scale say nothing of seconds.


def timed(**facts):
    """Return the small study with its last attribute told in seconds, a fifth of its points."""
    study = with_directions()
    last, scores = study.attributes[-1], study.table("scores")
    own = scores["attribute"] == last
    attributes = study.table("attributes")
    attributes = attributes.assign(
        unit=np.where(attributes["attribute"] == last, "s", ""),
        scale_max=np.where(attributes["attribute"] == last, np.nan, 100.0),
        scale_min=np.where(attributes["attribute"] == last, np.nan, 0.0),
        margin=np.where(attributes["attribute"] == last, facts.pop("seconds", np.nan), np.nan),
    )
    scores = scores.assign(score=scores["score"].where(~own, scores["score"] / 5))
    return Study(dict(study.tables) | {"attributes": attributes, "scores": scores}, dict(study.facts) | facts), last


def test_the_margin_of_the_study_is_of_the_scale_that_most_attributes_are_on():
    study, last = timed(margin=8.0)
    found = find_differences(study, versus="P1")
    assert set(found.margins) == set(study.attributes) - {last}
    alone = found.pairs["attribute"] == last
    assert found.pairs.loc[alone, "alike_p"].isna().all()
    assert not found.pairs.loc[alone, "said"].str.contains("matter|margin|small").any()
    assert found.pairs.loc[~alone, "alike_p"].notna().all()
    assert last not in set(find_alike(study, found).differences["attribute"])
    assert any("scale most attributes are on" in note and study.attribute_words(last) in note for note in found.notes)


def test_an_attribute_in_seconds_is_held_against_its_own_margin_as_its_points_were_against_theirs():
    seconds, last = timed(margin=8.0, seconds=1.6)
    points = Study(with_directions().tables, dict(with_directions().facts) | {"margin": 8.0})
    of_seconds, of_points = (find_alike(s, find_differences(s, versus="P1")).differences for s in (seconds, points))
    assert dict(zip(of_seconds["attribute"], of_seconds["margin"], strict=True))[last] == 1.6
    np.testing.assert_allclose(of_seconds["p_value"], of_points["p_value"], rtol=SAME)
    assert list(of_seconds["verdict"]) == list(of_points["verdict"])
    assert list(of_seconds["not_worse"]) == list(of_points["not_worse"])


def test_a_margin_typed_in_leaves_those_that_attributes_have_of_their_own():
    study, last = timed(margin=8.0, seconds=1.6)
    found = find_differences(study, versus="P1", margin=5.0)
    assert found.margins[last] == 1.6
    assert {size for name, size in found.margins.items() if name != last} == {5.0}
    assert not found.margin_stated
