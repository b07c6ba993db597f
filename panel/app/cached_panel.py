"""Answers about the assessors, kept for as long as the study is the same (see `panel.app.cached`)."""

from __future__ import annotations

import streamlit as st

from panel.models.assessors.leave_one_out import LeftOut, leave_one_out
from panel.models.assessors.performance import PanelCheck, check_panel
from panel.models.prototypes.scale_use import ScaleUse, find_scale_use
from panel.study.study import Study


@st.cache_data(max_entries=16, show_spinner="Checking the assessors ...")
def panel_check(content_hash: str, _study: Study) -> PanelCheck:
    """Return how each assessor works, beside the others."""
    return check_panel(_study)


@st.cache_data(max_entries=16, show_spinner="Comparing again without each assessor ...")
def left_out(content_hash: str, _study: Study) -> LeftOut:
    """Return the comparison without each assessor."""
    return leave_one_out(_study)


@st.cache_data(max_entries=16, show_spinner="Taking use of the scale into account ...")
def scale_use(content_hash: str, _study: Study) -> ScaleUse:
    """Return the scaling model beside the additive one."""
    return find_scale_use(_study)
