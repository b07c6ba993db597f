"""Page: how many people, and who gets what in which order?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import streamlit as st

from panel.answers import DIFFERENCES
from panel.app.state import StudyInUse
from panel.app.widgets import ask, attempt, csv_bytes, margin_field, plain
from panel.app.widgets import show as lay_out
from panel.checks.confounds import making_confounds
from panel.models.prototypes.batch_spread import batch_spread
from panel.plan.batch_numbers import BatchNumbers, batch_numbers
from panel.plan.orders import MOST_PER_SESSION, ServingPlan
from panel.plan.sample_size import (
    PlanningScale,
    Scatter,
    independent_attributes,
    own_scatter,
    panel_sizes,
    planning_scale,
    planning_scatter,
    typical_scatter,
    what_you_can_see,
    without_scale,
)
from panel.plan.study_plan import plan_study
from panel.study.naming import Naming, decimals, naming
from panel.study.numbers_read import typed_number
from panel.study.scores_used import scores_used
from panel.views.planning.plan import servings_table, tell_servings
from panel.views.planning.sizes import tell_sizes
from panel.words import format_list

_BATCH_HELP = (
    "In scale units, from earlier studies with two batches of each; empty for what the study states (batch_sd)."
)
_HELP = {"Seed of the order": "Any whole number. The same number gives the same order and codes again."}


def show(study: StudyInUse) -> None:
    """Show how many people it takes, then a plan of servings."""
    left, right = st.columns(2)
    with left:
        repeats = _number(study, "Times each sample is scored", 3)
    _sizes(study, repeats, right)
    st.divider()
    _serving_plan(study, repeats)


def _number(study: StudyInUse, label: str, usual: int) -> int:
    """Return a whole number typed into a field."""
    text = st.text_input(label, str(usual), key=study.choice(label), help=_HELP.get(label))
    return int(ask(typed_number, text or str(usual), label) or 0)


def _sizes(study: StudyInUse, repeats: int, place: st.delta_generator.DeltaGenerator) -> None:
    """Show how many people find the difference that matters, which is asked for in its place."""
    scale = attempt(planning_scale, study.study, _ends_asked(study))
    names = _in_units(study, scale)
    with place:
        margin = margin_field(study, names, per_cent=scale is not None and not scale.shared)
    if scale is None:
        return
    earlier = attempt(study.answer, DIFFERENCES) if not study.study.scores.empty else None
    scatter, seen = planning_scatter(scale.length), None
    k = len(study.study.prototypes)
    if earlier is not None:
        scores = scores_used(study.study).frame
        own = own_scatter(earlier.variances, scale.units, scores)
        if own:
            scatter = typical_scatter(own, independent_attributes(scores))
            seen = what_you_can_see(len(study.study.assessors), repeats, k, own_scatter(earlier.variances))
    margin = margin or scale.usual_difference
    tried = sorted({1, 2, 3, 4, repeats} - {0})
    result = attempt(panel_sizes, margin, k, scatter, replicates=tried, length=scale.length)
    if result is not None:
        answer = st.container()
        weighed = _weighed(study, scatter, margin, repeats)
        with answer:
            lay_out(tell_sizes(result, names, repeats, weighed=weighed, seen=seen))


def _weighed(study: StudyInUse, scatter: Scatter, margin: float, repeats: int) -> BatchNumbers | None:
    """Ask how far batches differ, and weigh them against repeats."""
    known = batch_spread(study.study, making_confounds(study.study)).of("")
    with st.expander("How far do batches differ?"):
        text = st.text_input("Standard deviation between batches", "", key=study.choice("batch sd"), help=_BATCH_HELP)
    spread = ask(typed_number, text, "Standard deviation between batches") if text else known
    if spread is None or not np.isfinite(spread):
        return None
    people, k = max(len(study.study.assessors), 2), len(study.study.prototypes)
    return attempt(batch_numbers, margin, k, scatter, spread, people, repeats)


def _in_units(study: StudyInUse, scale: PlanningScale | None) -> Naming:
    """Return the words of the study, on the scale that is planned in."""
    names = naming(study.study)
    if scale is None:
        return replace(names, scale="")
    if not scale.shared:
        return replace(names, scale="% of each scale", digits=decimals(scale.length))
    return replace(names, digits=decimals(scale.length))


def _ends_asked(study: StudyInUse) -> tuple[float, float] | None:
    """Ask for the ends of the scale where the study does not say them; None as long as they are not typed."""
    unknown = without_scale(study.study) if study.study.attributes else ()
    if not unknown and (study.study.attributes or study.study.scale("")):
        return None
    words = naming(study.study).attribute
    of = f" of {plain(format_list(list(map(words, unknown))))}" if unknown else ""
    st.markdown(f"The study does not say where the scale{of} begins and ends. The size of a panel depends on it.")
    left, right = st.columns(2)
    typed = [
        place.text_input(label, key=study.choice(label)) or ""
        for place, label in ((left, "Lowest possible score"), (right, "Highest possible score"))
    ]
    low, high = (attempt(typed_number, text, "The end of the scale") for text in typed)
    return None if low is None or high is None else (low, high)


def _serving_plan(study: StudyInUse, repeats: int) -> None:
    """Show a plan of servings: the trays of a session, how even it is, and the key on demand."""
    answer = st.container()
    left, middle, right = st.columns(3)
    with left:
        per_session = _number(study, "Samples in a session at most", MOST_PER_SESSION)
    with middle:
        seed = _number(study, "Seed of the order", 1)
    rng = np.random.default_rng(seed)
    plan = attempt(plan_study, study.study, rng, replicates=repeats, per_session=per_session)
    if plan is None:
        return
    session = right.selectbox("Trays of session", list(dict.fromkeys(plan.servings["session"])))
    with answer:
        lay_out(tell_servings(plan, naming(study.study), str(session)))
    with st.expander("The servings, with the key (not for assessors, nor for the panel leader before the lock)"):
        _servings(plan)


def _servings(plan: ServingPlan) -> None:
    shown = servings_table(plan.servings, plan.warm_up)
    st.dataframe(shown, hide_index=True, width="stretch", alt="Servings with their codes and the key")
    st.download_button(
        "Servings as CSV",
        csv_bytes(plan.servings),
        "servings.csv",
        "text/csv",
        on_click="ignore",
        type="tertiary",
        icon=":material/download:",
    )
