"""Page: which prototypes to make, so that the effects of the swaps can be told apart?"""

from __future__ import annotations

from typing import get_args

import numpy as np
import pandas as pd
import streamlit as st

from panel.app.mixture_form import mixture_form
from panel.app.state import StudyInUse
from panel.app.widgets import ask, attempt, table
from panel.app.widgets import show as lay_out
from panel.plan.swap_plan import MOST_SWAPS, Swap, SwapKind, SwapPlan, making_days, plan_swaps
from panel.study.formulas import formula, formulated
from panel.study.knowledge import emollient_table
from panel.study.naming import naming
from panel.study.numbers_read import typed_number
from panel.views.planning.plan import tell_plan

_MIXTURE = "mixture"
_MAKING_SEED = 1  # of the order of making: the same plan gives the same order
_KIND_WORDS = {
    "full": "every combination",
    "half": "half of the combinations",
    "one at a time": "one swap at a time",
    _MIXTURE: "freely varied blends",
}


def show(study: StudyInUse) -> None:
    """Ask for the base and its swaps, and show the prototypes to make."""
    made, names = list(formulated(study.study)), naming(study.study)
    if not made:
        st.markdown(
            "A plan starts from the formula of a base. Add the table formulas to the study (prototype, ingredient, "
            "percent, kind) and open it again on the page Study."
        )
        return
    answer = st.container()
    left, right = st.columns(2)
    chosen = left.selectbox("Base", made, format_func=names.prototype, key=study.choice("plan base"))
    kind = right.selectbox("Make", (*get_args(SwapKind), _MIXTURE), format_func=_KIND_WORDS.__getitem__)
    base = formula(study.study, str(chosen))
    held = [str(name) for name in base.loc[base["emollient"], "ingredient"]]
    if kind == _MIXTURE:
        mixture_form(study, base, held)
        return
    plan = attempt(plan_swaps, base, _typed_swaps(study, base, held), kind)
    if plan is None:
        return
    with answer:
        lay_out(tell_plan(plan, names))
    with st.expander("Order of making"):
        _order_of_making(study, plan)


def _typed_swaps(study: StudyInUse, base: pd.DataFrame, emollients: list[str]) -> list[Swap]:
    """Return the swaps that were typed in."""
    count = st.segmented_control("Swaps", range(1, MOST_SWAPS + 1), default=min(2, len(emollients)), required=True)
    others = [str(name) for name in emollient_table()["ingredient"] if name not in emollients]
    swaps = []
    for number in range(int(count or 1)):
        left, middle, right = st.columns([2, 2, 1])
        removed = left.selectbox("Replace", emollients, number % len(emollients), key=study.choice(f"out {number}"))
        added = middle.selectbox("by", others, number, key=study.choice(f"in {number}"))
        held = base.loc[base["ingredient"] == removed, "percent"].sum()
        text = right.text_input("%", f"{held:g}", key=study.choice(f"amount {number} {removed}"))
        swaps.append(Swap(str(removed), str(added), ask(typed_number, text, "The amount") or 0.0))
    return swaps


def _order_of_making(study: StudyInUse, plan: SwapPlan) -> None:
    text = st.text_input("Prototypes a day", "4", key=study.choice("per day"))
    number = int(ask(typed_number, text, "The number") or 0)
    days = attempt(making_days, plan.prototypes, number, np.random.default_rng(_MAKING_SEED))
    if days is not None:
        st.caption("So that no swap goes with a day, as far as chance orders allow.")
        shown = days.rename(columns={"day": "Day", "turn": "Turn", "prototype": "Prototype"}).astype("str")
        table(shown, name="making_days", alt="Day and turn of each prototype", full=days)
