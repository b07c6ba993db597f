"""Parts: what consumers say, question by question: liking, just about right, ticked words, statements."""

from __future__ import annotations

import streamlit as st

from panel.answers import AGREEMENT, CHECK_ALL, JUST_ABOUT_RIGHT, LIKING, PREFERENCE_MAP, SEED, SEGMENTS
from panel.app.state import StudyInUse
from panel.app.widgets import attempt, show
from panel.models.consumers.answers import questions_of
from panel.views.consumers.agreement import tell_agreement
from panel.views.consumers.check_all import tell_check_all
from panel.views.consumers.just_about_right import tell_just_about_right
from panel.views.consumers.liking import tell_liking
from panel.views.consumers.preference_map import tell_preference_map
from panel.views.consumers.segments import tell_segments


def show_just_about_right(study: StudyInUse) -> None:
    """Show what people find too little or too much, whether those like it less, and which change could be tested."""
    found = attempt(study.answer, JUST_ABOUT_RIGHT)
    if found is None:
        return
    questions = list(dict.fromkeys(found.shares["question"]))
    question = st.selectbox("Question", questions, key=study.choice("just about right question"))
    show(tell_just_about_right(found, study.answers.names, question))


def show_check_all(study: StudyInUse) -> None:
    """Show which terms are ticked for which prototype, their map, and which go with liking."""
    found = attempt(study.answer, CHECK_ALL)
    if found is not None:
        show(tell_check_all(found, study.answers.names))


def show_agreement(study: StudyInUse) -> None:
    """Show how many agree with each statement, against its bar, and how readily these people say yes."""
    found = attempt(study.answer, AGREEMENT)
    if found is not None:
        show(tell_agreement(found, study.answers.names))


def show_liking(study: StudyInUse) -> None:
    """Show which prototypes are liked."""
    question = _liking_question(study)
    found = attempt(study.answer, LIKING, question=question)
    if found is not None:
        show(tell_liking(found, study.answers.names))


def show_groups(study: StudyInUse) -> None:
    """Show whether consumers want different things."""
    question = _liking_question(study)
    found = attempt(study.answer, SEGMENTS, question=question)
    if found is not None:
        show(tell_segments(found, study.answers.names))
        st.caption(f"The draws start from seed {SEED}, so that the same study gives the same groups.")


def show_preference_map(study: StudyInUse) -> None:
    """Show which sensations go along with liking."""
    question = _liking_question(study)
    found = attempt(study.answer, PREFERENCE_MAP, question=question)
    if found is not None:
        show(tell_preference_map(found, study.answers.names))


def _liking_question(study: StudyInUse) -> str | None:
    """Return the liking question that is looked at; None where there is none, which the answer then says."""
    questions = questions_of(study.study, "liking")
    if len(questions) < 2:  # one question needs no choice
        return next(iter(questions), None)
    return st.selectbox("Question", questions, key=study.choice("liking question"), persist_state="session")
