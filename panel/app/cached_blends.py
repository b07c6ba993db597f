"""Answers about blends, readings and predictions, kept for as long as the study is the same; see `panel.app.cached`."""

from __future__ import annotations

import numpy as np
import streamlit as st

from panel.app import cached
from panel.models.emollients.curves import ReducedCurves, reduce_curves
from panel.models.emollients.ladder import Ladder, find_ladder
from panel.models.emollients.next_prototype import NextPrototypes, propose_next
from panel.models.emollients.prediction_model import PredictionModel, prediction_model
from panel.models.emollients.readings import JoinedReadings, join_readings
from panel.study.study import Study

LADDER_SEED = 1
"""Seed of the permutations behind the ladder, so that the same study gives the same answer."""


@st.cache_data(max_entries=16, show_spinner="Climbing from the swaps to the properties of the blends ...")
def ladder(content_hash: str, _study: Study) -> Ladder:
    """Return how far the differences can be traced to the formulas."""
    return find_ladder(
        _study,
        rng=np.random.default_rng(LADDER_SEED),
        differences=cached.differences(content_hash, None, None, _study),
        traced=cached.swaps(content_hash, _study),
    )


@st.cache_data(max_entries=16, show_spinner="Joining the readings with the panel ...")
def readings(content_hash: str, _study: Study) -> JoinedReadings:
    """Return how the instrument readings go with the panel."""
    return join_readings(_study, means=cached.differences(content_hash, None, None, _study).means)


@st.cache_data(max_entries=16, show_spinner="Fitting the measured curves ...")
def curves(content_hash: str, _study: Study) -> ReducedCurves:
    """Return what the measured curves come down to."""
    return reduce_curves(_study)


@st.cache_resource(max_entries=8, show_spinner="Learning from the prototypes there are ...")
def model(content_hash: str, _study: Study) -> PredictionModel:
    """Return the model that predicts new blends."""
    return prediction_model(_study, cached.differences(content_hash, None, None, _study))


@st.cache_data(max_entries=16, show_spinner="Weighing what to make next ...")
def proposals(content_hash: str, _study: Study) -> NextPrototypes:
    """Return what to make next."""
    return propose_next(_study, model=model(content_hash, _study))
