"""Planning blends whose emollients vary freely at a constant emollient total."""

from __future__ import annotations

from typing import get_args

import pandas as pd
import streamlit as st

from panel.app.state import StudyInUse
from panel.app.widgets import ask, attempt, heading, plain, say, show_items
from panel.plan.mixture_plan import MixtureKind, plan_mixture
from panel.study.naming import naming
from panel.study.numbers_read import typed_number
from panel.views.planning.plan import FORMULAS, MIXTURE_MODELS, cautions_sentences, mixture_blends
from panel.views.told import Told

KIND_WORDS = {
    "vertices": "corners of the region and its middle",
    "centroid": "single emollients and their equal blends",
    "lattice": "a lattice of blends",
}


def mixture_form(study: StudyInUse, base: pd.DataFrame, emollients: list[str]) -> None:
    """Ask for limits, and show the blends to make."""
    heading("The limits")
    kind: MixtureKind = st.radio("Blends", get_args(MixtureKind)[::-1], format_func=KIND_WORDS.__getitem__)
    total = float(base.loc[base["emollient"], "percent"].sum())
    st.caption(f"The emollients of this base hold {total:g} % together; that stays. Limits in % of the formula.")
    limits: dict[str, tuple[float, float]] = {}
    for emollient in st.multiselect("Emollients that may vary", emollients, emollients[:3]):
        left, right = st.columns(2)
        low = left.text_input(f"{plain(emollient)}, at least", "0", key=study.choice(f"low {emollient}"))
        high = right.text_input(f"{plain(emollient)}, at most", f"{total:g}", key=study.choice(f"high {emollient}"))
        limits[emollient] = (
            ask(typed_number, low, "The lowest amount") or 0.0,
            ask(typed_number, high, "The highest amount") or 0.0,
        )
    plan = attempt(plan_mixture, base, limits, kind)
    if plan is None:
        return
    heading("Blends to make")
    told = Told(plan, naming(study.study), "")
    show_items([mixture_blends(plan), MIXTURE_MODELS], told)
    with st.expander("Their formulas"):
        show_items([FORMULAS], told)
    say([*cautions_sentences(plan.cautions), plan.method, *plan.notes])
