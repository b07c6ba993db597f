"""Place Consumers: what people like and answer, whether they can tell samples apart, which one they prefer."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import streamlit as st

from panel import answers
from panel.app.state import StudyInUse
from panel.app.widgets import attempt, say, show
from panel.models.consumers.answers import questions_of
from panel.models.consumers.choices import METHOD_OF
from panel.models.consumers.forced_choice import judge_count
from panel.study.naming import Naming, naming
from panel.study.numbers_read import typed_number, typed_whole
from panel.views.consumers.agreement import tell_agreement
from panel.views.consumers.check_all import tell_check_all
from panel.views.consumers.choices import METHOD_WORDS, count_in_words, tell_forced_choices, tell_preferences
from panel.views.consumers.just_about_right import first_told, tell_just_about_right
from panel.views.consumers.liking import tell_liking
from panel.views.consumers.preference_map import tell_preference_map
from panel.views.consumers.segments import tell_segments
from panel.views.told import Told


def show_just_about_right(study: StudyInUse) -> None:
    """Show what people find too little or too much, whether those like it less, and which change could be tested."""
    told = attempt(study.told, tell_just_about_right, answers.JUST_ABOUT_RIGHT)
    if told is not None:
        questions = list(dict.fromkeys(told.result.shares["question"]))
        first = questions.index(first_told(told.result))
        question = st.selectbox("Question", questions, first, key=study.choice("just about right question"))
        show(study.told(tell_just_about_right, answers.JUST_ABOUT_RIGHT, question))


def show_check_all(study: StudyInUse) -> None:
    """Show which terms are ticked for which prototype, their map, and which go with liking."""
    show(attempt(study.told, tell_check_all, answers.CHECK_ALL))


def show_agreement(study: StudyInUse) -> None:
    """Show how many agree with each statement, against its bar, and how readily these people say yes."""
    show(attempt(study.told, tell_agreement, answers.AGREEMENT))


def show_liking(study: StudyInUse) -> None:
    """Show which prototypes are liked."""
    show(attempt(study.told, tell_liking, answers.LIKING, question=_liking_question(study)))


def show_groups(study: StudyInUse) -> None:
    """Show whether consumers want different things."""
    told = attempt(study.told, tell_segments, answers.SEGMENTS, question=_liking_question(study))
    if told is not None:
        show(told)
        st.caption(f"The draws start from seed {answers.SEED}, so that the same study gives the same groups.")


def show_preference_map(study: StudyInUse) -> None:
    """Show which sensations go along with liking."""
    show(attempt(study.told, tell_preference_map, answers.PREFERENCE_MAP, question=_liking_question(study)))


def _liking_question(study: StudyInUse) -> str | None:
    """Return the liking question that is looked at; None where there is none, which the answer then says."""
    questions = questions_of(study.study, "liking")
    if len(questions) < 2:  # one question needs no choice
        return next(iter(questions), None)
    return st.selectbox("Question", questions, key=study.choice("liking question"), persist_state="session")


_HOW_WRITTEN = (
    "Samples: prototype and versus name the two; position is 1 if prototype was tried first, 2 if versus was.",
    "Can people tell: kind is triangle, duo_trio, three_afc or tetrad; the answer is 1 (right) or 0 (wrong).",
    "Which one: kind is paired or preference, and the answer is the short name of the sample chosen; for "
    "preference also: no preference.",
)


def show_forced_choice(study: StudyInUse) -> None:
    """Show whether people can tell samples apart, and what a count typed in says."""
    _told(study, tell_forced_choices, answers.FORCED_CHOICES)
    with st.expander("Judge a count from anywhere"):
        _a_count(study, naming(study.study))


def show_preference(study: StudyInUse) -> None:
    """Show which sample is preferred."""
    _told(study, tell_preferences, answers.PREFERENCES)


def _told(study: StudyInUse, tell: Callable[..., Told], question: answers.Question[Any]) -> None:
    """Show the answer to a question, or why there is none and how its rows are written."""
    told = attempt(study.told, tell, question)
    show(told)
    if told is None:
        with st.expander("How these rows are written"):
            say(_HOW_WRITTEN, first=("Samples", "Can people tell", "Which one"))


def _whole_number(study: StudyInUse, label: str, usual: int) -> int:
    text = st.text_input(label, str(usual), key=study.choice(f"count {label}"))
    return typed_whole(text or str(usual), label) or 0


def _share_field(study: StudyInUse) -> float | None:
    """Return the share of people who may tell, typed in per cent; None if empty."""
    label = "People who may tell, % (empty: no test of similarity)"
    value = typed_number(st.text_input(label, "", key=study.choice("count share")) or "", label)
    return None if value is None else value / 100


def _a_count(study: StudyInUse, names: Naming) -> None:
    """Judge a count that is typed in."""
    st.caption("For a count from anywhere: type it in. The numbers that stand here at first are an example.")
    tests = {kind: METHOD_WORDS[method] for kind, method in METHOD_OF.items()}
    kind = st.selectbox("Test", list(tests), format_func=tests.__getitem__, key=study.choice("count test"))
    left, middle, last = st.columns(3)
    with left:
        right = attempt(_whole_number, study, "Right answers", 18)
    with middle:
        n = attempt(_whole_number, study, "Answers", 36)
    with last:
        share = attempt(_share_field, study)
    if right is None or n is None:
        return
    result = attempt(judge_count, kind, right, n, similar_below=share)
    if result is not None:
        say(count_in_words(result, names))
