"""Page: can people tell two samples apart, and which one do they prefer?"""

from __future__ import annotations

from typing import TypeVar

import streamlit as st

from panel.answers import FORCED_CHOICES, PREFERENCES, Question
from panel.app.state import StudyInUse
from panel.app.widgets import attempt, say
from panel.app.widgets import show as lay_out
from panel.errors import ModelError
from panel.models.consumers.choices import METHOD_OF
from panel.models.consumers.forced_choice import judge_count
from panel.study.naming import Naming, naming
from panel.study.numbers_read import typed_number
from panel.views.consumers.choices import METHOD_WORDS, count_in_words, tell_forced_choices, tell_preferences

T = TypeVar("T")

_HOW_WRITTEN = (
    "Samples: prototype and versus name the two; position is 1 if prototype was tried first, 2 if versus was.",
    "Can people tell: kind is triangle, duo_trio, three_afc or tetrad; the answer is 1 (right) or 0 (wrong).",
    "Which one: kind is paired or preference, and the answer is the short name of the sample chosen; for "
    "preference also: no preference.",
)


def show(study: StudyInUse) -> None:
    """Show whether people can tell samples apart, and what a count typed in says."""
    names = naming(study.study)
    result = _answer(study, FORCED_CHOICES)
    if result is not None:
        lay_out(tell_forced_choices(result, names))
    with st.expander("Judge a count from anywhere"):
        _a_count(study, names)


def show_preference(study: StudyInUse) -> None:
    """Show which sample is preferred."""
    result = _answer(study, PREFERENCES)
    if result is not None:
        lay_out(tell_preferences(result, naming(study.study)))


def _answer(study: StudyInUse, question: Question[T]) -> T | None:
    """Return the answer to a question, or say why there is none and how its rows are written."""
    result = attempt(study.answer, question)
    if result is None:
        with st.expander("How these rows are written"):
            say(_HOW_WRITTEN, first=("Samples", "Can people tell", "Which one"))
    return result


def _whole_number(study: StudyInUse, label: str, usual: int) -> int:
    """Return a whole number typed into a field."""
    text = st.text_input(label, str(usual), key=study.choice(f"count {label}"))
    value = typed_number(text or str(usual), label)
    if value is None or value != int(value):
        raise ModelError(f"{label} must be a whole number.")
    return int(value)


def _share_field(study: StudyInUse) -> float | None:
    """Return the share of people who may tell, typed in per cent; None if empty."""
    label = "People who may tell, % (empty: no test of similarity)"
    value = typed_number(st.text_input(label, "", key=study.choice("count share")) or "", label)
    return None if value is None else value / 100


def _a_count(study: StudyInUse, names: Naming) -> None:
    """Judge a count that is typed in."""
    st.caption("For a count from anywhere: type it in. The numbers that stand here at first are an example.")
    kind = st.selectbox(
        "Test", list(METHOD_OF), format_func=lambda kind: METHOD_WORDS[METHOD_OF[kind]], key=study.choice("count test")
    )
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
