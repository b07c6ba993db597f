"""Writing a serving plan into a study that has none: codes, orders, places, and the seal of the key."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import streamlit as st

from panel.app.state import StudyInUse, leave_message, now
from panel.app.study_writing import keep
from panel.app.widgets import plain, say
from panel.errors import PanelError
from panel.plan.key import new_salt, seal_key, serving_key, with_seal
from panel.plan.orders import MOST_PER_SESSION, ServingPlan
from panel.plan.study_plan import plan_study
from panel.study.study import Study
from panel.study.typed_number import typed_number
from panel.views.planning.plan_words import what_the_plan_shows


def serving_form(study: StudyInUse) -> None:
    """Let the user make a serving plan and write it into the study. What stands behind a code is not shown."""
    st.markdown(
        "The study has no serving plan yet. The plan gives every sample a code, and everybody a balanced order. "
        "The page Servings shows how good such a plan is."
    )
    with st.form("serving plan"):
        left, middle, right = st.columns(3)
        replicates = left.text_input("Times each sample is scored", "2")
        most = middle.text_input("Samples in a session at most", str(MOST_PER_SESSION))
        seed = right.text_input("Seed of the order", "1")
        who = st.text_input("Who makes the plan (not the panel leader: whoever makes it may know the key)")
        if st.form_submit_button("Write the plan into the study"):
            _write(study, (replicates or "", most or "", seed or ""), who or "")


def _write(study: StudyInUse, typed: tuple[str, str, str], who: str) -> None:
    try:
        words = ("The number of times", "The number of samples", "The seed")
        replicates, most, seed = (int(typed_number(text, name) or 1) for text, name in zip(typed, words, strict=True))
        plan = plan_study(study.study, np.random.default_rng(seed), replicates=replicates, per_session=most)
        saved = keep(study, _with_plan(study.study, plan, who))
    except PanelError as error:
        st.warning(plain(error), icon=":material/info:")
        return
    leave_message(f"The serving plan is in the study, its key is sealed. {saved}")
    say(what_the_plan_shows(plan))
    st.rerun()


def _with_plan(study: Study, plan: ServingPlan, who: str) -> Study:
    """Return the study with the plan as its servings, and the seal of the key among its facts."""
    salt = new_salt()
    seal = seal_key(serving_key(plan.servings), salt, sealed_by=who, sealed_at=now())
    servings = plan.servings.assign(position=plan.servings["position"].astype("float64"))
    return replace(
        study,
        tables={**study.tables, "servings": servings},
        facts=with_seal(study.facts, seal, salt),
    )
