"""Forced-choice answers as they are written down: which way a pair is named, and what cannot be read."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from panel.models.consumers.answers import recorded_questions
from panel.models.consumers.choices import (
    METHOD_OF,
    by_person,
    read_choices,
    share_fact,
    unread_notes,
)
from panel.stats.answers.discrimination import _METHODS
from panel.study.tables import TABLES
from tests.choice_studies import choice_study, named_rows, right_rows


def test_every_kind_is_one_the_table_knows_and_every_method_one_that_is_planned():
    assert set(METHOD_OF) < set(TABLES["answers"].column("kind").choices)
    assert set(METHOD_OF.values()) == set(_METHODS)


def test_right_and_wrong_and_what_is_neither():
    rows = right_rows("triangle", 2, 4)
    rows["answer"] = ["1", "0", " 1 ", "yes"]
    read, unread = read_choices(choice_study(rows), ("triangle",))
    assert read["chosen"].tolist() == [1, 0, 1]
    assert unread["answer"].tolist() == ["yes"]
    (note,) = unread_notes(unread)
    assert note == "1 answer could not be used: neither 1 (right) nor 0 (wrong), such as 'yes' of C003."


def test_a_blank_is_no_answer_and_not_listed():
    rows = named_rows("preference", ["P4", "", "P1", "P9", "No preference"])
    read, unread = read_choices(choice_study(rows), ("preference",))
    assert read["chosen"].tolist() == pytest.approx([1, 0, np.nan], nan_ok=True)
    assert unread["why"].tolist() == ["names neither of the two prototypes"]


def test_no_preference_is_no_answer_to_a_paired_comparison():
    read, unread = read_choices(choice_study(named_rows("paired", ["P4", "no preference"])), ("paired",))
    assert len(read) == len(unread) == 1


@pytest.mark.parametrize("versus", ["", "P4"])
def test_without_the_other_prototype_there_is_no_pair(versus):
    read, unread = read_choices(choice_study(right_rows("triangle", 1, 2, versus=versus)), ("triangle",))
    assert read.empty
    assert set(unread["why"]) == {"the other prototype is not named in the column versus"}


def test_a_pair_is_named_one_way_and_order_and_choice_turn_with_it():
    straight = named_rows("preference", ["P4", "P1"], position=1.0)
    turned = named_rows("preference", ["P4", "P1"], position=1.0, prototype="P1", versus="P4")
    frame = read_choices(choice_study(straight, turned), ("preference",))[0]
    assert set(frame["prototype"]) == {"P4"}  # the benchmark comes second
    assert frame["chosen"].tolist() == [1, 0, 1, 0]
    assert frame["first"].tolist() == [1, 1, 0, 0]


def test_right_answers_do_not_turn_with_the_pair():
    rows = right_rows("triangle", 3, 3, prototype="P8", versus="P4")
    frame = read_choices(choice_study(rows), ("triangle",))[0]
    assert set(frame["prototype"]) == {"P4"}
    assert frame["chosen"].tolist() == [1, 1, 1]


def test_what_is_expected_to_be_chosen_comes_first():
    study = choice_study(named_rows("paired", ["P4", "P1"]), questions=[{"question": "paired", "expected": "P1"}])
    frame = read_choices(study, ("paired",))[0]
    assert set(frame["prototype"]) == {"P1"}
    assert frame["chosen"].tolist() == [0, 1]


def test_facts_recorded_after_the_unblinding_lose_what_only_counts_beforehand():
    entry = {"question": "paired", "expected": "P1", "margin": 0.1, "similar_below": 0.3, "recorded_on": "2025-05-02"}
    study = choice_study(named_rows("paired", ["P4"]), questions=[entry], unblinded_on="2025-05-01")
    found = recorded_questions(study, "paired")["paired"]
    assert found["late"]
    assert "expected" not in found
    assert "margin" not in found
    assert found["similar_below"] == 0.3
    early = choice_study(named_rows("paired", ["P4"]), questions=[entry], unblinded_on="2025-05-03")
    assert recorded_questions(early, "paired")["paired"]["expected"] == "P1"
    assert list(recorded_questions(early, "paired")) == ["paired"]
    assert recorded_questions(choice_study(right_rows("triangle", 1, 1), questions="none"), "triangle") == {}


@given(st.one_of(st.none(), st.booleans(), st.text(), st.floats(allow_nan=True)))
def test_a_share_is_a_number_between_its_ends(value):
    found = share_fact({"share": value}, "share", 0.5)
    assert found is None or (0 < found < 0.5 and found == value)


def test_people_are_counted_once():
    rows = named_rows("preference", ["P4", "P1", "no preference"])
    again = named_rows("preference", ["P4", "P4", "no preference"])
    people = by_person(read_choices(choice_study(rows, again), ("preference",))[0])
    assert people["right"].tolist() == [2, 1]
    assert people["n"].tolist() == [2, 2]
