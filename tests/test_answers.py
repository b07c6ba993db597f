"""Answers are worked out once, kept for one content, handed on, and the same whatever else was asked."""

from __future__ import annotations

from inspect import signature

import numpy as np
import pytest

from panel import answers as asked
from panel.answers import DIFFERENCES, MAP, QUESTIONS, SEGMENTS, Answers, NoAnswer, Question, Use
from panel.errors import ModelError
from panel.models.prototypes.differences import find_differences
from panel.models.prototypes.map import find_map
from panel.study.scores_used import with_correction
from tests.studies import small_study


def test_a_corrected_score_changes_the_answer():
    study = small_study()
    place = {"assessor": "A02", "session": "2", "prototype": "P4", "attribute": "AF_GREASE"}
    corrected = with_correction(study, place, new="99", who="panel leader", why="ballot", when="2025-04-01T10:00")
    before, after = (Answers(each).need(DIFFERENCES) for each in (study, corrected))
    assert not before.means.equals(after.means)
    assert after.means.equals(find_differences(corrected).means)


def test_an_answer_is_worked_out_once_for_each_choice():
    answers = Answers(small_study())
    first, again = (answers.ask(DIFFERENCES, versus="P1", margin=5.0) for _ in range(2))
    other = answers.need(DIFFERENCES, versus="P1", margin=6.0)
    assert first is again
    assert ({*first.margins.values()}, {*other.margins.values()}) == ({5.0}, {6.0})
    assert answers.ask(DIFFERENCES, versus=None) is answers.differences


def test_what_is_drawn_does_not_depend_on_what_else_was_asked():
    alone, later = Answers(small_study()), Answers(small_study())
    later.ask(asked.ASSUMPTIONS)
    assert alone.need(MAP).regions.equals(later.need(MAP).regions)
    by_hand = find_map(small_study(), rng=np.random.default_rng(asked.SEED), means=alone.differences.means)
    assert by_hand.regions.equals(alone.map.regions)


def test_another_seed_draws_other_panels():
    one, other = Answers(small_study(), 1), Answers(small_study(), 2)
    assert not one.map.regions.equals(other.map.regions)


def test_where_there_is_no_answer_it_says_why():
    answers = Answers(small_study())
    missing = answers.ask(SEGMENTS)
    assert isinstance(missing, NoAnswer)
    assert missing.not_part
    assert "answers" in missing.why
    with pytest.raises(ModelError, match="answers"):
        answers.need(SEGMENTS)
    assert answers.ask(asked.PREFERENCE_MAP).not_part


def test_a_missing_answer_is_handed_on_as_none_where_it_is_not_needed():
    nobody: Question[int] = Question("nobody", _fails, "")
    without: Question[object] = Question("without", _given, "", uses={"other": Use(nobody, needed=False)})
    needing: Question[object] = Question("needing", _given, "", uses={"other": Use(nobody)})
    answers = Answers(small_study())
    assert answers.ask(without) == ("given", None)
    assert answers.ask(needing) == NoAnswer("Nobody knows. Ask somebody.")


def test_a_setting_goes_to_the_question_that_knows_it():
    inner: Question[float] = Question("inner", lambda study, margin=None: margin, "", settings=("margin",))
    outer: Question[object] = Question("outer", _given, "", uses={"other": Use(inner)})
    answers = Answers(small_study())
    assert answers.ask(outer, margin=3.0) == ("given", 3.0)
    assert answers.ask(outer) == ("given", None)


def test_only_so_many_answers_are_kept():
    answers = Answers(small_study())
    count: Question[int] = Question("count", lambda study, number: number, "", settings=("number",))
    for number in range(asked._MOST_KEPT + 5):
        assert answers.ask(count, number=number) == number
    assert not answers.known(count, number=0)
    assert answers.known(count, number=asked._MOST_KEPT)


def test_an_unknown_question_is_no_attribute():
    with pytest.raises(AttributeError, match="weather"):
        _ = Answers(small_study()).weather


def test_every_question_names_a_function_that_takes_what_it_is_given():
    for question in QUESTIONS.values():
        taken = set(signature(question.answered_by()).parameters)
        assert taken.issuperset({*question.uses, *question.settings, *(["rng"] if question.drawn else [])}), (
            question.name
        )


def _fails(study):
    raise ModelError("Nobody knows. Ask somebody.")


def _given(study, other):
    return "given", other
