"""Page: which prototypes to make, so that the effects of the swaps can be told apart?"""

from __future__ import annotations

from typing import get_args

import numpy as np
import streamlit as st

from panel.app.mixture_form import mixture_form
from panel.app.widgets import ask, attempt, close, heading, how_computed, page, plain, say, table
from panel.plan.swap_plan import MOST_SWAPS, Swap, SwapKind, making_days, plan_swaps
from panel.study.formulas import formula, formulated
from panel.study.knowledge import emollient_table
from panel.study.naming import naming
from panel.study.numbers_read import typed_number
from panel.views.planning.plan import (
    cautions_sentences,
    plan_formulas_table,
    plan_sentences,
    plan_swaps_table,
    plan_table,
)

MIXTURE = "mixture"
MAKING_SEED = 1  # of the order of making
KIND_WORDS = {
    "full": "every combination",
    "half": "half of the combinations",
    "one at a time": "one swap at a time",
    MIXTURE: "freely varied blends",
}

study = page("Plan")
names = naming(study.study)


def rng() -> np.random.Generator:
    """Return the source of the order of making: the same plan gives the same order."""
    return np.random.default_rng(MAKING_SEED)


def typed_swaps(emollients: list[str]) -> list[Swap]:
    """Return the swaps that were typed in."""
    count = st.segmented_control("Swaps", range(1, MOST_SWAPS + 1), default=min(2, len(emollients)), required=True)
    known = [str(name) for name in emollient_table()["ingredient"]]
    swaps = []
    for number in range(int(count or 1)):
        left, middle, right = st.columns([2, 2, 1])
        removed = left.selectbox("Replace", emollients, number % len(emollients), key=study.choice(f"out {number}"))
        others = [name for name in known if name not in emollients]
        added = middle.selectbox("by", others, number, key=study.choice(f"in {number}"))
        held = base.loc[base["ingredient"] == removed, "percent"].sum()
        text = right.text_input("%", f"{held:g}", key=study.choice(f"amount {number} {removed}"))
        swaps.append(Swap(str(removed), str(added), ask(typed_number, text, "The amount") or 0.0))
    return swaps


made = list(formulated(study.study))
if not made:
    st.markdown(
        "A plan starts from the formula of a base. Add the table formulas to the study (prototype, ingredient, "
        "percent, kind) and open it again on the page Study."
    )
    close()
    st.stop()
answer = st.container()
heading("The base and the swaps")
chosen = st.selectbox("Base", made, format_func=names.prototype, key=study.choice("plan base"))
base = formula(study.study, str(chosen))
kind = st.radio("Make", (*get_args(SwapKind), MIXTURE), format_func=KIND_WORDS.__getitem__, horizontal=True)
held = [str(name) for name in base.loc[base["emollient"], "ingredient"]]
if kind == MIXTURE:
    mixture_form(study, base, held)
    close()
    st.stop()
swaps = typed_swaps(held)
plan = attempt(plan_swaps, base, swaps, kind)
if plan is None:
    close()
    st.stop()
with answer:
    say(plan_sentences(plan))
heading("Prototypes to make")
table(plan_table(plan), name="plan", alt="Prototypes and the swaps made in each", full=plan.prototypes)
with st.expander("Their formulas"):
    table(plan_formulas_table(plan.formulas), name="planned_formulas", alt="Planned formulas", full=plan.formulas)
heading("What each swap can show")
table(plan_swaps_table(plan), name="planned_swaps", alt="Matched pairs and variance inflation", full=plan.swaps)
heading("Order of making")
text = st.text_input("Prototypes a day", "4", key=study.choice("per day"))
days = attempt(making_days, plan.prototypes, int(ask(typed_number, text, "The number") or 0), rng())
if days is not None:
    st.caption("So that no swap goes with a day, as far as chance orders allow.")
    shown = days.rename(columns={"day": "Day", "turn": "Turn", "prototype": "Prototype"}).astype("str")
    table(shown, name="making_days", alt="Day and turn of each prototype", full=days)
if len(plan.cautions):
    heading("Before making them")
    say(cautions_sentences(plan.cautions))
st.caption(plain("A plan is no approval: nobody applies a prototype before a qualified person has signed for it."))
how_computed(
    plan.method, plan.notes, ("What a plan cannot see: structure, stability, and the luck of single batches.",)
)
close()
