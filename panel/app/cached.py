"""Answers kept for as long as the study is the same: each question is asked once per study and choice.

Every function takes the hash of the study's content as its first argument and the study itself as `_study`,
which Streamlit leaves out of its key: a table as a key would be sampled, and a correction could go unseen.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import ParamSpec, TypeVar

import numpy as np
import streamlit as st

from panel.checks.all_checks import check_study
from panel.checks.finding import Finding
from panel.errors import PanelError
from panel.models.emollients.descriptors import BlendDescriptors, find_descriptors
from panel.models.emollients.swaps import TracedSwaps, trace_swaps
from panel.models.prototypes.assumptions import Assumptions, look_at_assumptions
from panel.models.prototypes.differences import Differences, find_differences
from panel.models.prototypes.inference import SmallSample
from panel.models.prototypes.map import PrototypeMap, find_map
from panel.models.prototypes.rank_sums import RankComparison, compare_ranks
from panel.stats.maps.components import Matrix
from panel.study.raw_table import RawFile, RawTable, raw_table
from panel.study.study import Study

P = ParamSpec("P")
T = TypeVar("T")

ASSUMPTION_SEED = 1
"""Seed of the simulated reference behind the tests of what the model assumes."""

MAP_SEED = 1
"""Seed of the draws behind the rings of the map, so that the same study gives the same map."""


def where_there(answer: Callable[P, T], *given: P.args, **also: P.kwargs) -> T | None:
    """Return the answer; None where the study has none, for questions that can do without it."""
    try:
        return answer(*given, **also)
    except PanelError:
        return None


@st.cache_data(max_entries=16, show_spinner="Checking the study ...")
def findings(content_hash: str, _study: Study) -> tuple[Finding, ...]:
    """Return everything worth knowing before believing the study."""
    return check_study(_study)


@st.cache_data(max_entries=32, show_spinner="Comparing the prototypes ...")
def differences(
    content_hash: str,
    versus: str | None,
    margin: float | None,
    _study: Study,
    adjust_for: tuple[str, ...] = (),
    small_sample: SmallSample = "satterthwaite",
) -> Differences:
    """Return the differences between the prototypes."""
    return find_differences(_study, versus=versus, margin=margin, adjust_for=adjust_for, small_sample=small_sample)


@st.cache_data(max_entries=16, show_spinner="Ranking within each assessor ...")
def ranks(content_hash: str, _study: Study) -> RankComparison:
    """Return what the ranks alone say."""
    return compare_ranks(_study, differences(content_hash, None, None, _study))


@st.cache_data(max_entries=8, show_spinner="Looking at what the model assumes (a few seconds) ...")
def assumptions(content_hash: str, _study: Study) -> Assumptions:
    """Return what is left over of the scores, and what it says of the model's assumptions."""
    return look_at_assumptions(_study, rng=np.random.default_rng(ASSUMPTION_SEED))


@st.cache_data(max_entries=16, show_spinner="Drawing panels for the map ...")
def prototype_map(content_hash: str, matrix: Matrix, _study: Study) -> PrototypeMap:
    """Return the map of the prototypes."""
    means = differences(content_hash, None, None, _study).means
    return find_map(_study, matrix=matrix, rng=np.random.default_rng(MAP_SEED), means=means)


@st.cache_data(max_entries=16, show_spinner="Tracing differences back to the emollients ...")
def swaps(content_hash: str, _study: Study) -> TracedSwaps:
    """Return what the emollient swaps did."""
    return trace_swaps(_study)


@st.cache_data(max_entries=16, show_spinner="Describing the blends ...")
def descriptors(content_hash: str, _study: Study) -> BlendDescriptors:
    """Return what the blends are like."""
    return find_descriptors(_study)


@st.cache_resource(max_entries=4, show_spinner="Reading the file ...")
def uploaded_table(sha256: str, sheet: str, _file: RawFile) -> RawTable:
    """Return the table in an uploaded file."""
    return raw_table(_file, sheet)
