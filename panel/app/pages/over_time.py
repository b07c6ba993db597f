"""Page: what happens over time, after use and while a sample is worked in?"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import streamlit as st

from panel.answers import AFTER_FEEL, COURSES, DOMINANCES, Question
from panel.app.state import StudyInUse
from panel.app.widgets import attempt, heading, headline, say
from panel.app.widgets import show as lay_out
from panel.models.over_time.after_feel import timed_attributes
from panel.study.naming import Naming, naming
from panel.views.over_time import tell_after_feel, tell_courses, tell_dominance
from panel.views.told import Told

_HOW_WRITTEN = (
    "After-feel over the minutes: score an attribute at several times. In the table attributes, each time has "
    "a row of its own, with the same name and other minutes.",
    "Courses of intensity: the table courses, with the columns assessor, prototype, attribute, seconds and score.",
    "Dominant sensations: the table dominances, with the columns assessor, prototype, seconds and attribute; "
    "each evaluation ends with the attribute stop.",
)


def show(study: StudyInUse) -> None:
    """Show what happens over time, each in its turn."""
    names = naming(study.study)
    timed = bool(timed_attributes(study.study)) and not study.study.scores.empty
    has_courses, has_dominance = (not study.study.table(name).empty for name in ("courses", "dominances"))
    if not (timed or has_courses or has_dominance):
        headline("Nothing in this study runs over time yet.")
        st.markdown("Three things can be shown here. They come in with the workbook under Edit, on the page Study.")
        with st.expander("How these rows are written"):
            say(_HOW_WRITTEN, first=("After-feel over the minutes", "Courses of intensity", "Dominant sensations"))
    parts: tuple[tuple[bool, str, Question[Any], Callable[[Any, Naming], Told]], ...] = (
        (timed, "After-feel over the minutes", AFTER_FEEL, tell_after_feel),
        (has_courses, "Courses of intensity", COURSES, tell_courses),
        (has_dominance, "Dominant sensations", DOMINANCES, tell_dominance),
    )
    for there, title, question, tell in parts:
        found = attempt(study.answer, question) if there else None
        if found is not None:
            heading(title)
            lay_out(tell(found, names))
