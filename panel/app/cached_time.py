"""Answers about what happens over time, kept as long as the study is the same; see `panel.app.cached`."""

from __future__ import annotations

import streamlit as st

from panel.models.over_time.after_feel import AfterFeel, follow_after_feel
from panel.models.over_time.dominance import Dominances, follow_dominance
from panel.models.over_time.intensity import Courses, reduce_courses
from panel.study.study import Study


@st.cache_data(max_entries=16, show_spinner="Following the after-feel ...")
def after_feel(content_hash: str, _study: Study) -> AfterFeel:
    """Return the attributes over the minutes after use."""
    return follow_after_feel(_study)


@st.cache_data(max_entries=16, show_spinner="Reducing the courses of intensity ...")
def courses(content_hash: str, _study: Study) -> Courses:
    """Return the courses of intensity and how the prototypes differ in them."""
    return reduce_courses(_study)


@st.cache_data(max_entries=16, show_spinner="Following what is dominant ...")
def dominances(content_hash: str, _study: Study) -> Dominances:
    """Return what is dominant when."""
    return follow_dominance(_study)
