"""Page: can people tell two samples apart, and which one do they prefer?"""

from __future__ import annotations

import streamlit as st

from panel.answers import FORCED_CHOICES, PREFERENCES
from panel.app.state import StudyInUse
from panel.app.widgets import attempt, heading, say
from panel.app.widgets import show as lay_out
from panel.errors import ModelError
from panel.models.consumers.choices import METHOD_OF
from panel.models.consumers.forced_choice import judge_count
from panel.study.naming import Naming, naming
from panel.study.numbers_read import typed_number
from panel.views.consumers.choices import METHOD_WORDS, count_in_words, tell_forced_choices, tell_preferences

_HOW_WRITTEN = (
    "Samples: prototype and versus name the two; position is 1 if prototype was tried first, 2 if versus was.",
    "Can people tell: kind is triangle, duo_trio, three_afc or tetrad; the answer is 1 (right) or 0 (wrong).",
    "Which one: kind is paired or preference, and the answer is the short name of the sample chosen; for "
    "preference also: no preference.",
)


def show(study: StudyInUse) -> None:
    """Show whether people can tell samples apart, which they prefer, and what a count typed in says."""
    names = naming(study.study)
    kinds = set(study.study.table("answers")["kind"])
    if not kinds & {*METHOD_OF, "preference"}:
        st.markdown(
            "This study has no forced-choice answers yet. Add rows to the table answers of its folder, then open it "
            "again on the page Study."
        )
        with st.expander("How these rows are written"):
            say(_HOW_WRITTEN, first=("Samples", "Can people tell", "Which one"))
    if kinds & set(METHOD_OF):
        _told_apart(study, names)
    if "preference" in kinds:
        _preferred(study, names)
    with st.expander("Judge a count from anywhere"):
        _a_count(study, names)


def _told_apart(study: StudyInUse, names: Naming) -> None:
    """Show whether people can tell samples apart."""
    result = attempt(study.answer, FORCED_CHOICES)
    if result is not None:
        heading("Can people tell the samples apart?")
        lay_out(tell_forced_choices(result, names))


def _preferred(study: StudyInUse, names: Naming) -> None:
    """Show which sample is preferred."""
    result = attempt(study.answer, PREFERENCES)
    if result is not None:
        heading("Which one do they prefer?")
        lay_out(tell_preferences(result, names))


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
