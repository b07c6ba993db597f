"""What consumers say, question by question: liking and who likes what, just about right, ticked words, agreement."""

from __future__ import annotations

import streamlit as st

from panel.answers import AGREEMENT, CHECK_ALL, JUST_ABOUT_RIGHT, LIKING, PREFERENCE_MAP, SEED, SEGMENTS
from panel.app.state import StudyInUse
from panel.app.widgets import attempt, heading, show
from panel.models.consumers.answers import questions_of
from panel.study.naming import Naming
from panel.views.consumers.agreement import tell_agreement
from panel.views.consumers.check_all import tell_check_all
from panel.views.consumers.just_about_right import tell_just_about_right
from panel.views.consumers.liking import tell_liking
from panel.views.consumers.preference_map import tell_preference_map
from panel.views.consumers.segments import tell_segments


def just_about_right_section(study: StudyInUse, names: Naming) -> None:
    """Show what people find too little or too much, whether those like it less, and which change could be tested."""
    found = attempt(study.answer, JUST_ABOUT_RIGHT)
    if found is None:
        return
    questions = list(dict.fromkeys(found.shares["question"]))
    question = st.selectbox("Question", questions, key=study.choice("just about right question"))
    show(tell_just_about_right(found, names, question))


def check_all_section(study: StudyInUse, names: Naming) -> None:
    """Show which terms are ticked for which prototype, their map, and which go with liking."""
    found = attempt(study.answer, CHECK_ALL)
    if found is not None:
        show(tell_check_all(found, names))


def agreement_section(study: StudyInUse, names: Naming) -> None:
    """Show how many agree with each statement, against its bar, and how readily these people say yes."""
    found = attempt(study.answer, AGREEMENT)
    if found is not None:
        show(tell_agreement(found, names))


def liking_section(study: StudyInUse, names: Naming) -> None:
    """Show liking, the groups of consumers and the preference map of one liking question."""
    questions = questions_of(study.study, "liking")
    question = questions[0]
    if len(questions) > 1:
        question = st.selectbox("Question", questions, key=study.choice("liking question"), persist_state="session")
    result = attempt(study.answer, LIKING, question=question)
    if result is None:
        return
    show(tell_liking(result, names))
    heading("Do they want different things?")
    segments = attempt(study.answer, SEGMENTS, question=question)
    if segments is None:
        return
    show(tell_segments(segments, names))
    st.caption(f"The draws start from seed {SEED}, so that the same study gives the same groups.")
    heading("Which sensations go along with liking?")
    mapped = attempt(study.answer, PREFERENCE_MAP, question=question)
    if mapped is not None:
        show(tell_preference_map(mapped, names))
