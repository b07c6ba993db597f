"""Answers about forced choices and preferences, kept as long as the study is the same; see `panel.app.cached`."""

from __future__ import annotations

import streamlit as st

from panel.models.consumers.forced_choice import ForcedChoices, judge_forced_choices
from panel.models.consumers.preference import Preferences, count_preferences
from panel.study.study import Study


@st.cache_data(max_entries=16, show_spinner="Counting right answers ...")
def forced_choices(content_hash: str, similar_below: float | None, _study: Study) -> ForcedChoices:
    """Return what the tests with a forced choice say."""
    return judge_forced_choices(_study, similar_below=similar_below)


@st.cache_data(max_entries=16, show_spinner="Counting preferences ...")
def preferences(content_hash: str, _study: Study) -> Preferences:
    """Return what the paired preferences say."""
    return count_preferences(_study)
