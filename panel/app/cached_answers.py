"""Answers about what consumers said, kept for as long as the study is the same (see `panel.app.cached`)."""

from __future__ import annotations

import streamlit as st

from panel.app import cached
from panel.models.consumers.agreement import Agreement, count_agreement
from panel.models.consumers.check_all import CheckAll, count_check_all
from panel.models.consumers.just_about_right import JustAboutRight, weigh_just_about_right
from panel.study.study import Study


@st.cache_data(max_entries=16, show_spinner="Weighing what is too little or too much ...")
def just_about_right(content_hash: str, _study: Study) -> JustAboutRight:
    """Return what people find too little or too much, and what it costs in liking."""
    return weigh_just_about_right(_study, swaps=cached.where_there(cached.swaps, content_hash, _study))


@st.cache_data(max_entries=16, show_spinner="Counting the ticked terms ...")
def check_all(content_hash: str, _study: Study) -> CheckAll:
    """Return which terms are ticked for which prototype."""
    return count_check_all(_study)


@st.cache_data(max_entries=16, show_spinner="Counting who agrees ...")
def agreement(content_hash: str, _study: Study) -> Agreement:
    """Return how many agree with each statement."""
    return count_agreement(_study)
