"""Answers about consumers' liking, kept for as long as the study is the same; see `panel.app.cached`."""

from __future__ import annotations

import numpy as np
import pandas as pd
import streamlit as st

from panel.app import cached
from panel.models.consumers.liking import Liking, weigh_liking
from panel.models.consumers.preference_map import PreferenceMap, map_preferences
from panel.models.consumers.segments import Segments, find_segments
from panel.study.study import Study

SEED = 1
"""Seed of the draws behind groups and preference map, so that the same study gives the same answer."""


@st.cache_data(max_entries=16, show_spinner="Weighing liking ...")
def liking(content_hash: str, question: str, versus: str | None, by_order: bool | None, _study: Study) -> Liking:
    """Return how well the prototypes are liked."""
    return weigh_liking(_study, question=question, versus=versus, by_order=by_order)


@st.cache_data(max_entries=16, show_spinner="Looking for groups of consumers ...")
def segments(content_hash: str, question: str, _study: Study) -> Segments:
    """Return the groups of consumers, or the one group."""
    return find_segments(_study, np.random.default_rng(SEED), question=question)


@st.cache_data(max_entries=16, show_spinner="Mapping preferences ...")
def preference_map(content_hash: str, question: str, _study: Study) -> PreferenceMap:
    """Return how liking changes over the panel's map."""
    means: pd.DataFrame = cached.differences(content_hash, None, None, _study).means
    return map_preferences(
        _study,
        np.random.default_rng(SEED),
        question=question,
        segments=segments(content_hash, question, _study),
        placed=cached.prototype_map(content_hash, "covariance", _study),
        means=means,
    )
