from datetime import timedelta

import pytest

from panel.ballots import answers as module
from panel.ballots.answers import _WAIT_RATHER_THAN_BEGIN, steps_of
from panel.store.ballot import Ballot, Question, Serving
from panel.store.database import now

NOW = now()
MINUTE = timedelta(minutes=1)


def question(attribute, stage, minutes=None):
    return Question(attribute, attribute, stage, minutes, minutes, minutes, "", "", "", "", 0.0, 100.0)


QUESTIONS = (
    question("GLOSS", "appearance"),
    question("SPREAD", "rub-out"),
    question("DRAG", "rub-out"),
    question("GREASE", "after-feel", 2.0),
    question("RESIDUE", "later after-feel", 20.0),
)
SERVINGS = tuple(Serving(number, number, str(110 + number), "") for number in (1, 2, 3))


def ballot(given=(), ended=None, held=(), questions=QUESTIONS):
    marks = dict.fromkeys(given, "answer")
    return Ballot(
        1, "1", "A01", False, False, True, SERVINGS, questions, marks, ended or {}, frozenset(), False, frozenset(held)
    )


def place(step):
    return None if step is None else (step.serving.serving, step.stage)


def next_step(of, when):
    return module.next_step(of, steps_of(of), when)


def next_due(of):
    return module.next_due(steps_of(of))


AT_ONCE = [(1, "GLOSS"), (1, "SPREAD"), (1, "DRAG")]


def test_a_page_is_one_stage_of_one_sample():
    steps = steps_of(ballot())
    assert len(steps) == 12
    assert [step.stage for step in steps[:4]] == ["appearance", "rub-out", "after-feel", "later after-feel"]
    assert [len(step.questions) for step in steps[:4]] == [1, 2, 1, 1]
    assert [step.number for step in steps[:4]] == [1, 2, 3, 4]
    assert [step.ends_rubbing for step in steps[:4]] == [False, True, False, False]


def test_the_first_page_is_the_first_stage_of_the_first_sample():
    assert place(next_step(ballot(), NOW)) == (1, "appearance")
    assert place(next_step(ballot(AT_ONCE[:2]), NOW)) == (1, "rub-out")


def test_the_end_of_rubbing_has_to_be_noted_before_the_stage_is_finished():
    assert place(next_step(ballot(AT_ONCE), NOW)) == (1, "rub-out")
    assert steps_of(ballot(AT_ONCE, {1: NOW}))[1].finished


def test_a_new_sample_is_not_begun_when_the_last_one_is_due_soon():
    just_rubbed = ballot(AT_ONCE, {1: NOW})
    assert next_step(just_rubbed, NOW) is None
    assert next_due(just_rubbed) == NOW + 2 * MINUTE
    assert place(next_step(just_rubbed, NOW + 2 * MINUTE)) == (1, "after-feel")


def test_while_the_later_stage_waits_the_next_sample_is_begun():
    done = ballot([*AT_ONCE, (1, "GREASE")], {1: NOW})
    assert place(next_step(done, NOW + 3 * MINUTE)) == (2, "appearance")
    near = NOW + 20 * MINUTE - _WAIT_RATHER_THAN_BEGIN
    assert next_step(done, near) is None
    begun = ballot([*AT_ONCE, (1, "GREASE"), (2, "GLOSS")], {1: NOW})
    assert place(next_step(begun, near)) == (2, "rub-out")


def test_what_is_due_comes_first_and_the_longest_due_before():
    both = ballot([*AT_ONCE, (2, "GLOSS")], {1: NOW, 2: NOW + 17 * MINUTE})
    assert place(next_step(both, NOW + 19.5 * MINUTE)) == (1, "after-feel")
    without = ballot([*AT_ONCE, (1, "GREASE"), (2, "GLOSS")], {1: NOW, 2: NOW + 17 * MINUTE})
    assert place(next_step(without, NOW + 19.5 * MINUTE)) == (2, "after-feel")
    assert place(next_step(without, NOW + 40 * MINUTE)) == (2, "after-feel")


def test_all_done_is_nothing_to_do():
    every = [(serving.serving, q.attribute) for serving in SERVINGS for q in QUESTIONS]
    done = ballot(every, dict.fromkeys((1, 2, 3), NOW))
    assert next_step(done, NOW) is None
    assert next_due(done) is None
    assert all(step.finished for step in steps_of(done))


def test_a_timed_stage_without_the_end_of_rubbing_asks_for_it_but_may_be_answered():
    only_timed = ballot(questions=QUESTIONS[3:])
    step = next_step(only_timed, NOW)
    assert place(step) == (1, "after-feel")
    assert step.asks_for_end
    assert step.due is None
    answered = ballot([(1, "GREASE"), (1, "RESIDUE")], questions=QUESTIONS[3:])
    assert place(next_step(answered, NOW)) == (2, "after-feel")


def test_without_timed_stages_nobody_is_asked_for_the_end_of_rubbing():
    plain = ballot(questions=QUESTIONS[:3])
    assert not any(step.asks_for_end or step.ends_rubbing for step in steps_of(plain))
    assert place(next_step(ballot(AT_ONCE, questions=QUESTIONS[:3]), NOW)) == (2, "appearance")


@pytest.mark.parametrize("ended", [{}, {1: NOW}])
def test_a_sample_that_is_held_back_is_passed_over(ended):
    held = ballot(AT_ONCE, ended, held=("111",))
    assert place(next_step(held, NOW + 30 * MINUTE)) == (2, "appearance")
    assert next_due(held) is None
