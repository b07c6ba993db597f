"""The evidence behind a decision, kept for as long as study and weights are the same; see `panel.app.cached`."""

from __future__ import annotations

import numpy as np
import streamlit as st

from panel.app import cached, cached_consumers
from panel.errors import ModelError
from panel.models.consumers.answers_read import questions_of
from panel.models.consumers.segments import Segments
from panel.models.decision.decide import Decision, decide
from panel.study.study import Study

DECISION_SEED = 1
"""Seed of the draws behind the chances, so that the same study gives the same answer."""


@st.cache_data(max_entries=16, show_spinner="Holding the prototypes against what is wanted ...")
def decision(content_hash: str, weights: tuple[tuple[str, float], ...] | None, _study: Study) -> Decision:
    """Return what the evidence says about the choice of a prototype."""
    return decide(
        _study,
        np.random.default_rng(DECISION_SEED),
        weights=None if weights is None else dict(weights),
        segments=_segments(content_hash, _study),
        differences=cached.differences(content_hash, None, None, _study),
    )


def _segments(content_hash: str, study: Study) -> Segments | None:
    """Return the groups of consumers, None where they cannot be looked for."""
    questions = questions_of(study, "liking")
    if not questions:
        return None
    try:
        return cached_consumers.segments(content_hash, questions[0], study)
    except ModelError:
        return None
