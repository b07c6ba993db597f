"""Answers kept for as long as the study is the same: each question is asked once per study and choice.

Every function takes the hash of the study's content as its first argument and the study itself as `_study`,
which Streamlit leaves out of its key: a table as a key would be sampled, and a correction could go unseen.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import ParamSpec, TypeVar

import numpy as np
import pandas as pd
import streamlit as st

from panel.checks.all_checks import check_study
from panel.checks.finding import Finding
from panel.claims.judge import Claims, judge_claims
from panel.errors import ModelError, PanelError
from panel.models.assessors.performance import LeftOut, PanelCheck, check_panel, leave_one_out
from panel.models.consumers.agreement import Agreement, count_agreement
from panel.models.consumers.answers import questions_of
from panel.models.consumers.check_all import CheckAll, count_check_all
from panel.models.consumers.forced_choice import ForcedChoices, judge_forced_choices
from panel.models.consumers.just_about_right import JustAboutRight, weigh_just_about_right
from panel.models.consumers.liking import Liking, weigh_liking
from panel.models.consumers.preference import Preferences, count_preferences
from panel.models.consumers.preference_map import PreferenceMap, map_preferences
from panel.models.consumers.segments import Segments, find_segments
from panel.models.decision.decide import Decision, decide
from panel.models.emollients.curves import ReducedCurves, reduce_curves
from panel.models.emollients.descriptors import BlendDescriptors, find_descriptors
from panel.models.emollients.ladder import Ladder, find_ladder
from panel.models.emollients.next_prototype import NextPrototypes, propose_next
from panel.models.emollients.prediction_model import PredictionModel, prediction_model
from panel.models.emollients.readings import JoinedReadings, join_readings
from panel.models.emollients.swaps import TracedSwaps, trace_swaps
from panel.models.over_time.after_feel import AfterFeel, follow_after_feel
from panel.models.over_time.dominance import Dominances, follow_dominance
from panel.models.over_time.intensity import Courses, reduce_courses
from panel.models.prototypes.assumptions import Assumptions, look_at_assumptions
from panel.models.prototypes.differences import Differences, SmallSample, find_differences
from panel.models.prototypes.map import PrototypeMap, find_map
from panel.models.prototypes.ranks import RankComparison, compare_ranks
from panel.models.prototypes.scale_use import ScaleUse, find_scale_use
from panel.report.archive import FORMS, archive_bytes
from panel.report.contents.blocks import Report
from panel.report.contents.evidence import report_of
from panel.report.contents.results import Results
from panel.report.trace import Trace, why
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


# Answers about what consumers said, kept for as long as the study is the same (see `panel.app.cached`).


@st.cache_data(max_entries=16, show_spinner="Weighing what is too little or too much ...")
def just_about_right(content_hash: str, _study: Study) -> JustAboutRight:
    """Return what people find too little or too much, and what it costs in liking."""
    return weigh_just_about_right(_study, swaps=where_there(swaps, content_hash, _study))


@st.cache_data(max_entries=16, show_spinner="Counting the ticked terms ...")
def check_all(content_hash: str, _study: Study) -> CheckAll:
    """Return which terms are ticked for which prototype."""
    return count_check_all(_study)


@st.cache_data(max_entries=16, show_spinner="Counting who agrees ...")
def agreement(content_hash: str, _study: Study) -> Agreement:
    """Return how many agree with each statement."""
    return count_agreement(_study)


# Answers about blends, readings and predictions, kept for as long as the study is the same; see
# `panel.app.cached`.


LADDER_SEED = 1
"""Seed of the permutations behind the ladder, so that the same study gives the same answer."""


@st.cache_data(max_entries=16, show_spinner="Climbing from the swaps to the properties of the blends ...")
def ladder(content_hash: str, _study: Study) -> Ladder:
    """Return how far the differences can be traced to the formulas."""
    return find_ladder(
        _study,
        rng=np.random.default_rng(LADDER_SEED),
        differences=differences(content_hash, None, None, _study),
        traced=swaps(content_hash, _study),
    )


@st.cache_data(max_entries=16, show_spinner="Joining the readings with the panel ...")
def readings(content_hash: str, _study: Study) -> JoinedReadings:
    """Return how the instrument readings go with the panel."""
    return join_readings(_study, means=differences(content_hash, None, None, _study).means)


@st.cache_data(max_entries=16, show_spinner="Fitting the measured curves ...")
def curves(content_hash: str, _study: Study) -> ReducedCurves:
    """Return what the measured curves come down to."""
    return reduce_curves(_study)


@st.cache_resource(max_entries=8, show_spinner="Learning from the prototypes there are ...")
def model(content_hash: str, _study: Study) -> PredictionModel:
    """Return the model that predicts new blends."""
    return prediction_model(_study, differences(content_hash, None, None, _study))


@st.cache_data(max_entries=16, show_spinner="Weighing what to make next ...")
def proposals(content_hash: str, _study: Study) -> NextPrototypes:
    """Return what to make next."""
    return propose_next(_study, model=model(content_hash, _study))


# Answers about forced choices and preferences, kept as long as the study is the same; see `panel.app.cached`.


@st.cache_data(max_entries=16, show_spinner="Counting right answers ...")
def forced_choices(content_hash: str, similar_below: float | None, _study: Study) -> ForcedChoices:
    """Return what the tests with a forced choice say."""
    return judge_forced_choices(_study, similar_below=similar_below)


@st.cache_data(max_entries=16, show_spinner="Counting preferences ...")
def preferences(content_hash: str, _study: Study) -> Preferences:
    """Return what the paired preferences say."""
    return count_preferences(_study)


# Verdicts on claims, kept for as long as the study is the same (see `panel.app.cached`).


@st.cache_data(max_entries=16, show_spinner="Judging the claims ...")
def claims(content_hash: str, _study: Study) -> Claims:
    """Return the verdict on every claim of the study."""
    return judge_claims(
        _study,
        differences=where_there(differences, content_hash, None, None, _study),
        traced=where_there(swaps, content_hash, _study),
    )


# Answers about consumers' liking, kept for as long as the study is the same; see `panel.app.cached`.


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
    means: pd.DataFrame = differences(content_hash, None, None, _study).means
    return map_preferences(
        _study,
        np.random.default_rng(SEED),
        question=question,
        segments=segments(content_hash, question, _study),
        placed=prototype_map(content_hash, "covariance", _study),
        means=means,
    )


# The evidence behind a decision, kept for as long as study and weights are the same; see `panel.app.cached`.


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
        differences=differences(content_hash, None, None, _study),
    )


def _segments(content_hash: str, study: Study) -> Segments | None:
    """Return the groups of consumers, None where they cannot be looked for."""
    questions = questions_of(study, "liking")
    if not questions:
        return None
    try:
        return segments(content_hash, questions[0], study)
    except ModelError:
        return None


# The evidence file, kept for as long as the study is the same (see `panel.app.cached`); forms are made on demand.


"""Seed of everything that is drawn, so that the same study gives the same file."""


@st.cache_resource(max_entries=4, show_spinner="Putting the evidence together (some seconds) ...")
def results(content_hash: str, _study: Study) -> Results:
    """Return the results of the study; each is computed at its first use."""
    return Results(_study, SEED)


@st.cache_resource(max_entries=4, show_spinner="Putting the evidence together (some seconds) ...")
def report(content_hash: str, _study: Study) -> Report:
    """Return the evidence file before it is written in any form."""
    return report_of(results(content_hash, _study))


@st.cache_data(max_entries=8, show_spinner="Writing the evidence file ...")
def form(content_hash: str, ending: str, _study: Study) -> bytes:
    """Return the evidence file in the form that an ending asks for."""
    return FORMS[ending].make(report(content_hash, _study))


@st.cache_data(max_entries=4, show_spinner="Packing the archive ...")
def archive(content_hash: str, ending: str, _study: Study) -> bytes:
    """Return the archive of the study; it has one ending only."""
    return archive_bytes(results(content_hash, _study), report(content_hash, _study))


@st.cache_data(max_entries=32, show_spinner="Looking for where it comes from ...")
def trace(content_hash: str, number_id: str, _study: Study) -> Trace:
    """Return where a number comes from."""
    return why(_study, number_id, results=results(content_hash, _study))


# Answers about the assessors, kept for as long as the study is the same (see `panel.app.cached`).


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


# Answers about what happens over time, kept as long as the study is the same; see `panel.app.cached`.


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
