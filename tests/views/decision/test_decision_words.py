"""The words of a decision: each kind of answer, from studies that give it."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from data_demo import make_demo
from panel.models.consumers.segments import find_segments
from panel.models.decision.contenders import OPPOSED
from panel.models.decision.decide import decide
from panel.study.naming import Naming, naming
from panel.views.decision.decide import (
    chance_words,
    decision_headline,
    opposed_sentences,
    what_the_decision_cannot_show,
    what_the_decision_shows,
)
from tests.models.decision.known_studies import target_study

CLEAR = {"P1": (60, 45), "P2": (25, 75), "P3": (52, 50)}
NAMES = Naming()


def decided(study, **keywords):
    return decide(study, np.random.default_rng(1), **keywords)


def said(result, names=NAMES):
    return " ".join(what_the_decision_shows(result, names))


@pytest.fixture(scope="module")
def demo():
    study, _ = make_demo.make_study()
    return decided(study, segments=find_segments(study, np.random.default_rng(1))), naming(study)


@pytest.mark.parametrize(
    ("chance", "words"),
    [
        (0.0, "< 1 %"),
        (0.004, "< 1 %"),
        (0.5, "50 %"),
        (0.99, "99 %"),
        (0.999, "> 99 %"),
        (1.0, "> 99 %"),
        (np.nan, "–"),
    ],
)
def test_a_chance_is_never_none_nor_certain(chance, words):
    assert chance_words(chance) == words


def test_a_choice_is_named_with_what_it_rests_on():
    result = decided(target_study(CLEAR))
    assert decision_headline(result) == (
        "P2 passes all gates, meets all windows and is ahead of every other prototype."
    )
    assert "P2 meets 2 of 2 windows with its means." in said(result)
    assert "By the panel's windows P2 is told apart from every other prototype." in said(result)


def test_no_winner_is_made_up():
    result = decided(target_study({"P1": (60, 45), "P2": (25, 75), "P3": (25, 75)}))
    first, second = result.contenders
    assert decision_headline(result) == f"{first} and {second} cannot be separated overall. There is no winner here."


def test_the_only_one_left_may_still_fall_short():
    near = decided(target_study({"P1": (75, 30), "P2": (39, 56), "P3": (75, 30)}, noise=1.0))
    assert near.contenders == ("P2",)
    assert decision_headline(near).startswith("P2 is ahead of every other prototype, but ")
    batches = pd.DataFrame({"batch": ["a", "b"], "prototype": ["P1", "P3"], "ph": [5.5, 5.5]})
    unknown = decided(target_study(CLEAR, facts={"gates": {"ph": [5, 6]}}, batches=batches))
    assert decision_headline(unknown) == "P2 is ahead of every other prototype, but pH cannot be told yet."
    assert "Open: P2, because pH cannot be told yet." in said(unknown)
    missed = replace(near, ranking=near.ranking.assign(unmet=1, gates_open=0))
    assert decision_headline(missed).endswith("but its means miss 1 of 2 windows.")
    unsure = replace(near, ranking=near.ranking.assign(unmet=0, gates_open=0, chance_all=0.62))
    assert decision_headline(unsure).endswith("meets all windows at once has a chance of only 62 %.")


def test_nobody_left_is_said_with_the_reasons():
    batches = pd.DataFrame({"batch": list("abc"), "prototype": list(CLEAR), "ph": [7.0, 7.0, 7.0]})
    result = decided(target_study(CLEAR, facts={"gates": {"ph": [5, 6]}}, batches=batches))
    assert decision_headline(result).startswith("No prototype is left")
    assert "Out: P2, P3 and P1; each fails pH." in said(result)
    alone = decided(target_study(CLEAR, facts={"gates": {"ph": [5, 6]}}, batches=batches.assign(ph=[5.5, 7.0, 5.5])))
    assert "Out: P2, because it fails pH." in said(alone)


def test_the_demo_is_told_as_it_is(demo):
    result, names = demo
    words = said(result, names)
    assert "P4" in decision_headline(result)
    assert decision_headline(result).endswith("cannot be separated overall. There is no winner here.")
    assert "P4 meets 4 of 6 windows with its means; it misses stickiness and greasy film." in words
    assert "Least sure of those it meets: softness" in words
    assert "P4 meets 6 of 6 windows; all at once with a chance of" in words
    assert "This is stronger evidence than the windows as they stand." in words
    assert "P4 and P8 cannot be separated overall; they please different people: group 1" in words
    assert "Open: P6, because stability cannot be told yet." in words
    assert "each clearly misses a window that must be met (greasy film)." in words


def test_groups_that_are_not_divided_are_told_by_what_they_like(demo):
    result, names = demo
    words = said(replace(result, divided=result.divided.iloc[:0]), names)
    assert "Liked best of those in the running: group 1 (" in words
    assert "please different people" not in words


def test_other_weights_that_turn_the_order_are_named():
    result = decided(target_study({"P1": (70, 30), "P2": (41, 40), "P3": (60, 54)}, noise=0.2))
    first = result.ranking["prototype"].iloc[0]
    other = result.weights.changes.loc[result.weights.changes["prototype"] != first]
    assert len(other)
    row = other.iloc[0]
    assert f"{row['attribute']} {row['change']}: {row['prototype']}" in said(result)


def test_evidence_that_disagrees_is_told_pair_by_pair():
    result = decided(target_study(CLEAR, liking={"P1": 8.0, "P2": 4.0, "P3": 6.0}))
    assert (result.pairs["overall"] == OPPOSED).any()
    assert any("Panel and consumers disagree on P2 and P1" in line for line in opposed_sentences(result))
    assert opposed_sentences(decided(target_study(CLEAR))) == []


def test_without_a_ranking_that_is_said():
    result = decided(target_study(CLEAR))
    empty = replace(result, ranking=result.ranking.assign(desirability=np.nan))
    assert what_the_decision_shows(empty, NAMES) == [
        "No prototype was scored on every attribute with a window, so none can be ranked."
    ]


def test_what_it_cannot_show_leaves_the_decision_to_people():
    words = " ".join(what_the_decision_cannot_show())
    assert "People do" in words
    assert "not a safety assessment" in words
