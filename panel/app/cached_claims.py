"""Verdicts on claims, kept for as long as the study is the same (see `panel.app.cached`)."""

from __future__ import annotations

import streamlit as st

from panel.app import cached
from panel.claims.judge import Claims, judge_claims
from panel.study.study import Study


@st.cache_data(max_entries=16, show_spinner="Judging the claims ...")
def claims(content_hash: str, _study: Study) -> Claims:
    """Return the verdict on every claim of the study."""
    return judge_claims(
        _study,
        differences=cached.where_there(cached.differences, content_hash, None, None, _study),
        traced=cached.where_there(cached.swaps, content_hash, _study),
    )
