"""Place Run a test: which prototypes to make, how many people it takes, who gets what in which order."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from math import floor
from typing import Any, get_args

import numpy as np
import pandas as pd
import streamlit as st

from panel.answers import DIFFERENCES
from panel.app import widgets
from panel.app.ballot_forms import REPEATS, SEED, SEED_HELP, SESSIONS, SESSIONS_HELP, usual_servings
from panel.app.guide import ASKED_TO_JOIN
from panel.app.state import StudyInUse
from panel.checks.confounds import BETWEEN, WHOLLY, find_confounds, making_confounds
from panel.models.prototypes.verdict import batch_spread
from panel.plan import sample_size
from panel.plan.mixture_plan import MixtureKind, plan_mixture
from panel.plan.orders import MOST_PER_SESSION, ServingPlan
from panel.plan.study_plan import BatchNumbers, batch_numbers, plan_study, with_session
from panel.plan.swap_plan import MOST_SWAPS, Swap, SwapKind, SwapPlan, making_days, plan_swaps
from panel.study.formulas import formula, formulated, swap_table
from panel.study.knowledge import shared_table
from panel.study.naming import Naming, decimals, naming
from panel.study.numbers_read import typed_number, typed_whole
from panel.study.scores_used import scores_used
from panel.study.shown import shown
from panel.study.study import Study, those_in
from panel.views.planning.plan import (
    FORMULAS,
    MIXTURE_MODELS,
    SERVINGS,
    cautions_sentences,
    mixture_blends,
    tell_plan,
    tell_servings,
)
from panel.views.planning.sizes import tell_sizes
from panel.views.told import Told
from panel.words import counted, format_list

_MIXTURE = "mixture"
_MAKING_SEED = 1  # of the order of making: the same plan gives the same order
_KIND_WORDS = {
    "full": "every combination",
    "half": "half of the combinations",
    "one at a time": "one swap at a time",
    _MIXTURE: "freely varied blends",
}


def show_plan(study: StudyInUse) -> None:
    """Ask for the base and its swaps, and show the prototypes to make."""
    made, names = list(formulated(study.study)), naming(study.study)
    if not made:
        study.lacking.append(_usual_plan)
        st.markdown(
            "A plan starts from the formula of a base: an ingredient a row, a prototype a column, in per cent by mass."
        )
        return
    answer = st.container()
    left, right = st.columns(2)
    chosen = left.selectbox("Base", made, format_func=names.prototype, key=study.choice("plan base"))
    kind = right.selectbox("Make", (*get_args(SwapKind), _MIXTURE), format_func=_KIND_WORDS.__getitem__)
    base = formula(study.study, str(chosen))
    held = [str(name) for name in base.loc[base["emollient"], "ingredient"]]
    if kind == _MIXTURE:
        _mixture_form(study, base, held)
        return
    swaps = _typed_swaps(study, base, held)
    if not swaps:
        answer.markdown("Choose what to replace, and by what.")
    plan = widgets.attempt(plan_swaps, base, swaps, kind) if swaps else None
    if plan is None:
        return
    with answer:
        widgets.show(_once(study.key, f"swaps {(chosen, kind, swaps)}", lambda: tell_plan(plan, names)))
    with st.expander("Order of making"):
        _order_of_making(study, plan)


def _usual_plan(study: StudyInUse) -> Told:
    """Return what is told of every combination of the swaps that a study holds, from its benchmark."""
    base = formula(study.study, study.study.benchmark or "")
    own = swap_table(study.study)[["removed", "added", "percent"]].itertuples(index=False, name=None)
    plan = plan_swaps(base, [Swap(*each) for each in own][:MOST_SWAPS], "full")
    return tell_plan(plan, study.answers.names)


@st.cache_resource(max_entries=16, show_spinner=False)
def _once(content_hash: str, asked: str, _make: Callable[[], Any]) -> Any:
    """Return what is made of a study and of what was asked, which are the key: planned and drawn once."""
    return _make()


def _typed_swaps(study: StudyInUse, base: pd.DataFrame, emollients: list[str]) -> list[Swap]:
    known = swap_table(study.study)
    known = known.loc[known["removed"].isin(emollients) & ~known["added"].isin(emollients)]
    # what the study tries already, each once, by as much as it tries, as far as that is there; nothing else
    tried = known.groupby(["removed", "added"], sort=False)["percent"].max()
    own = list(tried.index)[:MOST_SWAPS]
    shared = Counter(gone for gone, _ in own)
    count = st.segmented_control("Swaps", range(1, MOST_SWAPS + 1), default=max(1, len(own)), required=True)
    others = [str(name) for name in shared_table("emollients")["ingredient"] if name not in emollients]
    others += [added for _, added in own if added not in others]
    swaps = []
    for number in range(int(count or 1)):
        left, middle, right = st.columns([2, 2, 1])
        first = (emollients.index(own[number][0]), others.index(own[number][1])) if number < len(own) else (None, None)
        removed = left.selectbox("Replace", emollients, first[0], key=study.choice(f"out {number}"))
        added = middle.selectbox("by", others, first[1], key=study.choice(f"in {number}"))
        if removed is None or added is None:
            continue
        held = base.loc[base["ingredient"] == removed, "percent"].sum()
        part = floor(100 * held / max(1, shared[removed])) / 100  # rounded down: all parts together are there
        part = min(part, float(tried.get((removed, added), part)))
        text = right.text_input("%", f"{part:g}", key=study.choice(f"amount {number} {removed}"))
        swaps.append(Swap(str(removed), str(added), widgets.ask(typed_number, text, "The amount") or 0.0))
    return swaps


def _order_of_making(study: StudyInUse, plan: SwapPlan) -> None:
    text = st.text_input("Prototypes a day", "4", key=study.choice("per day"))
    number = int(widgets.ask(typed_number, text, "The number") or 0)
    days = widgets.attempt(making_days, plan.prototypes, number, np.random.default_rng(_MAKING_SEED))
    if days is not None:
        st.caption("So that no swap goes with a day, as far as chance orders allow.")
        told = days.rename(columns={"day": "Day", "turn": "Turn", "prototype": "Prototype"}).astype("str")
        widgets.table(told, name="making_days", alt="Day and turn of each prototype", full=days)


_BLEND_WORDS = {
    "vertices": "corners of the region and its middle",
    "centroid": "single emollients and their equal blends",
    "lattice": "a lattice of blends",
}


def _mixture_form(study: StudyInUse, base: pd.DataFrame, emollients: list[str]) -> None:
    widgets.heading("The limits")
    kind: MixtureKind = st.radio("Blends", get_args(MixtureKind)[::-1], format_func=_BLEND_WORDS.__getitem__)
    total = float(base.loc[base["emollient"], "percent"].sum())
    st.caption(f"The emollients of this base hold {total:g} % together; that stays. Limits in % of the formula.")
    limits: dict[str, tuple[float, float]] = {}
    for emollient in st.multiselect("Emollients that may vary", emollients, emollients[:3]):
        left, right = st.columns(2)
        named = widgets.plain(emollient)
        low = left.text_input(f"{named}, at least", "0", key=study.choice(f"low {emollient}"))
        high = right.text_input(f"{named}, at most", f"{total:g}", key=study.choice(f"high {emollient}"))
        lowest = widgets.ask(typed_number, low, "The lowest amount")
        limits[emollient] = (lowest or 0.0, widgets.ask(typed_number, high, "The highest amount") or 0.0)
    plan = widgets.attempt(plan_mixture, base, limits, kind)
    if plan is None:
        return
    widgets.heading("Blends to make")
    told = Told(plan, naming(study.study), "")
    widgets.show_items([mixture_blends(plan), MIXTURE_MODELS], told)
    with st.expander("Their formulas"):
        widgets.show_items([FORMULAS], told)
    widgets.say([*cautions_sentences(plan.cautions), plan.method, *plan.notes])


_BATCH_HELP = (
    "In scale units, from earlier studies with two batches of each; empty for what the study states (batch_sd)."
)
_HELP = {SEED: SEED_HELP}


def show_servings(study: StudyInUse) -> None:
    """Show how many people it takes; a plan of servings lies in a drawer."""
    left, right = st.columns(2)
    with left:
        usual = _laid_out(study.study, ["assessor", "prototype"], REPEATS)
        repeats = _number(study, "Times each sample is scored", usual)
    _sizes(study, repeats, right)
    asked = bool(st.session_state.pop(ASKED_TO_JOIN, False))
    with st.expander("Add a session to this study", expanded=asked):
        _missing_session(study)
    st.divider()
    _serving_plan(study, repeats)


def _missing_session(study: StudyInUse) -> None:
    """Let the user write one more session into the study; at first with those that no session joins to the others."""
    apart = _never_joined(study.study)
    st.markdown(
        f"Not compared within one session, day or group so far: {widgets.plain(format_list(apart))}. Serve them "
        "together."
        if apart
        else "Sessions join all prototypes already. One more makes the differences surer."
    )
    with st.form("missing session"):
        chosen = st.multiselect("Serve together", study.study.prototypes, apart[:MOST_PER_SESSION])
        who = st.text_input("Who makes the plan (may know the key)") or ""
        if st.form_submit_button("Write this session into the study", type="primary"):
            done = f"A session with {format_list(chosen)} is planned, and the key is sealed anew. See the page Ballots."
            widgets.keep_and_tell(
                study, lambda now: with_session(now, chosen, who, len(now.table("servings"))), done, who=who
            )


def _never_joined(study: Study) -> list[str]:
    """Return the prototypes of pairs that session, day or group go wholly along with, in study order."""
    if study.scores.empty:
        return []
    pairs = find_confounds(study).pairs
    pairs = pairs.loc[(pairs["kind"] == WHOLLY) & pairs["factor"].isin(BETWEEN)]
    return list(those_in(study.prototypes, pd.concat([pairs["prototype"], pairs["versus"]])))


def _number(study: StudyInUse, label: str, usual: int) -> int:
    text = st.text_input(label, str(usual), key=study.choice(label), help=_HELP.get(label))
    return widgets.ask(typed_whole, text or str(usual), label) or 0


def _sizes(study: StudyInUse, repeats: int, place: st.delta_generator.DeltaGenerator) -> None:
    """Show how many people find the difference that matters, which is asked for in its place."""
    scale = widgets.attempt(sample_size.planning_scale, study.study, _ends_asked(study))
    names = _in_units(study, scale)
    with place:
        margin = widgets.margin_field(study, names, per_cent=scale is not None and not scale.shared)
    if scale is None:
        return
    earlier = widgets.attempt(study.answer, DIFFERENCES) if not study.study.scores.empty else None
    scatter, seen = sample_size.planning_scatter(scale.length), None
    k = len(study.study.prototypes)
    if earlier is not None:
        scores = scores_used(study.study).frame
        own = sample_size.own_scatter(earlier.variances, scale.units, scores)
        if own:
            scatter = sample_size.typical_scatter(own, sample_size.independent_attributes(scores))
            people, every = len(study.study.assessors), sample_size.own_scatter(earlier.variances)
            seen = _once(study.key, f"seen {repeats}", lambda: sample_size.what_you_can_see(people, repeats, k, every))
    margin = margin or scale.usual_difference
    tried = sorted({1, 2, 3, 4, repeats} - {0})

    def told() -> Told:
        sizes = sample_size.panel_sizes(margin, k, scatter, replicates=tried, length=scale.length)
        return tell_sizes(sizes, names, repeats, weighed=weighed, seen=seen)

    answer = st.container()
    weighed = _weighed(study, scatter, margin, repeats)
    asked = ("sizes", margin, repeats, scale.length, None if weighed is None else weighed.batch_sd)
    with answer:
        widgets.show(widgets.attempt(_once, study.key, repr(asked), told))


def _weighed(study: StudyInUse, scatter: sample_size.Scatter, margin: float, repeats: int) -> BatchNumbers | None:
    """Ask how far batches differ, and weigh them against repeats."""
    known = batch_spread(study.study, making_confounds(study.study)).of("")
    with st.expander("How far do batches differ?"):
        text = st.text_input("Standard deviation between batches", "", key=study.choice("batch sd"), help=_BATCH_HELP)
    spread = widgets.ask(typed_number, text, "Standard deviation between batches") if text else known
    if spread is None or not np.isfinite(spread):
        return None
    people, k = max(len(study.study.assessors), 2), len(study.study.prototypes)
    return widgets.attempt(batch_numbers, margin, k, scatter, spread, people, repeats)


def _in_units(study: StudyInUse, scale: sample_size.PlanningScale | None) -> Naming:
    """Return the words of the study, on the scale that is planned in."""
    names = naming(study.study)
    if scale is None:
        return replace(names, scale="")
    if not scale.shared:
        return replace(names, scale="% of each scale", digits=decimals(scale.length))
    return replace(names, digits=decimals(scale.length))


def _ends_asked(study: StudyInUse) -> tuple[float, float] | None:
    """Ask for the ends of the scale where the study does not say them; None as long as they are not typed."""
    unknown = [name for name in study.study.attributes if study.study.scale(name) is None]
    if not unknown and (study.study.attributes or study.study.scale("")):
        return None
    words = naming(study.study).attribute
    of = f" of {widgets.plain(format_list(list(map(words, unknown))))}" if unknown else ""
    st.markdown(f"The study does not say where the scale{of} begins and ends. The size of a panel depends on it.")
    left, right = st.columns(2)
    asked = ((left, "Lowest possible score"), (right, "Highest possible score"))
    typed = [place.text_input(label, key=study.choice(label)) or "" for place, label in asked]
    low, high = (widgets.attempt(typed_number, text, "The end of the scale") for text in typed)
    return None if low is None or high is None else (low, high)


def _serving_plan(study: StudyInUse, repeats: int) -> None:
    """Show a plan of servings: the trays of a session, how even it is, and the key on demand."""
    answer = st.container()
    left, middle, third, right = st.columns(4)
    with left:
        most = _laid_out(study.study, ["assessor", "session"], MOST_PER_SESSION)
        per_session = _number(study, "Samples in a session at most", most)
    typed = middle.text_input(SESSIONS, "", key=study.choice(SESSIONS), help=SESSIONS_HELP)
    sessions = widgets.attempt(typed_whole, typed or "", SESSIONS)
    with third:
        seed = _number(study, SEED, 1)
    rng, asked = np.random.default_rng(seed), f"servings {(repeats, per_session, sessions, seed)}"
    how: dict[str, Any] = {"replicates": repeats, "per_session": per_session, "sessions": sessions}
    plan: ServingPlan | None = widgets.attempt(_once, study.key, asked, lambda: plan_study(study.study, rng, **how))
    if plan is None:
        study.lacking.append(usual_servings)
        return
    session = right.selectbox("Trays of session", list(dict.fromkeys(plan.servings["session"])))
    other = _is_another(study.study, plan)
    with answer:
        told = _once(study.key, f"{asked} {session}", lambda: tell_servings(plan, naming(study.study), str(session)))
        if other:
            st.caption(
                f"The study has its own {counted(len(study.study.table('servings')), 'serving')}: see Edit, Servings, "
                "on the page Study. What follows is another plan, to compare; serve nothing by it."
            )
        widgets.show_closed("Who gets what, in which order", told)
    whose = "of this other plan, with its key" if other else "with the key"
    title = f"The servings, {whose} (not for assessors, nor for the panel leader before the lock)"
    widgets.drawer(title, partial(_servings, plan))


def _laid_out(study: Study, of: list[str], otherwise: int) -> int:
    """Return the largest number of servings of each of these in the plan of a study; what is usual if it has none."""
    served = study.table("servings")
    return otherwise if served.empty else int(served.groupby(of).size().max())


def _is_another(study: Study, plan: ServingPlan) -> bool:
    """Return True if a study holds a plan of servings, and this is not it."""
    what = ["session", "assessor", "prototype", "code"]
    own, made = study.table("servings")[what].astype("str"), plan.servings[what].astype("str")
    return bool(len(own)) and {*own.itertuples(index=False, name=None)} != {*made.itertuples(index=False, name=None)}


def _servings(plan: ServingPlan) -> None:
    alt = "Servings with their codes and the key"
    st.dataframe(shown(SERVINGS, plan, Naming()), hide_index=True, width="stretch", alt=alt)
    widgets.download("Servings as CSV", widgets.csv_bytes(plan.servings), "servings.csv", quiet=True)
