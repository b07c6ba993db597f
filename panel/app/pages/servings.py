"""Page: how many people, who gets what in which order, and may it be applied at all?"""

from __future__ import annotations

from dataclasses import asdict, replace

import numpy as np
import streamlit as st

from panel.app import cached
from panel.app.state import StudyInUse, keep, leave_message, moment
from panel.app.widgets import ask, attempt, close, heading, how_computed, margin_field, page, picture, plain, say, table
from panel.errors import PanelError
from panel.models.prototypes.differences import Differences
from panel.plan.codes import new_salt, seal_key, serving_key
from panel.plan.orders import MOST_PER_SESSION, ServingPlan
from panel.plan.safety import safety_gate
from panel.plan.sample_size import (
    PLANNING_SCATTER,
    PanelSizes,
    own_scatter,
    panel_sizes,
    typical_scatter,
    what_you_can_see,
)
from panel.plan.study_plan import plan_study
from panel.store.database import now
from panel.study.naming import naming
from panel.study.numbers_read import typed_number
from panel.study.study import Study
from panel.views.planning.plan import (
    balance_table,
    carry_over_table,
    gaps_table,
    places_table,
    servings_table,
    sites_table,
    what_the_plan_cannot_show,
    what_the_plan_shows,
    what_the_sizes_cannot_show,
    what_the_sizes_show,
)
from panel.views.planning.safety import gate_table, what_the_gate_cannot_say, what_the_gate_says
from panel.views.planning.sizes import (
    panel_sizes_table,
    power_alt_text,
    power_figure,
    power_svg,
    what_you_can_see_table,
)

USUAL_MARGIN, SHOWN_ASSESSORS = 8.0, (8, 10, 12)
HELP = {"Seed of the order": "Any whole number. The same number gives the same order and codes again."}
study = page("Servings")
names = naming(study.study)


def number(label: str, usual: int) -> int:
    """Return a whole number typed into a field."""
    text = st.text_input(label, str(usual), key=study.choice(label), help=HELP.get(label))
    return int(ask(typed_number, text or str(usual), label) or 0)


def sizes(earlier: Differences | None, replicates: int) -> PanelSizes | None:
    """Show what panels of different sizes can see."""
    margin = margin_field(study, names) or USUAL_MARGIN
    scatter = typical_scatter(own_scatter(earlier.variances)) if earlier is not None else PLANNING_SCATTER
    result = attempt(panel_sizes, margin, len(study.study.prototypes), scatter)
    if result is None:
        return None
    say(what_the_sizes_show(result))
    picture(
        power_svg(result, SHOWN_ASSESSORS, replicates),
        lambda: power_figure(result, SHOWN_ASSESSORS, replicates),
        name="power",
        alt=power_alt_text(result, SHOWN_ASSESSORS, replicates),
    )
    with st.expander("Panels of different sizes"):
        table(panel_sizes_table(result), name="sizes", alt="What panels of different sizes can see", full=result.sizes)
    if earlier is not None:
        with st.expander("What the people you have can see, by attribute, from this study's own scatter"):
            people, k = len(study.study.assessors), len(study.study.prototypes)
            seen = what_you_can_see(people, replicates, k, own_scatter(earlier.variances))
            table(what_you_can_see_table(seen, names), name="seen", alt="Smallest differences by attribute", full=seen)
    return result


def serving_plan(replicates: int) -> None:
    """Show a plan of servings and how even it is."""
    heading("Who gets what, in which order")
    left, right = st.columns(2)
    with left:
        per_session = number("Samples in a session at most", MOST_PER_SESSION)
    with right:
        seed = number("Seed of the order", 1)
    result = attempt(
        plan_study, study.study, np.random.default_rng(seed), replicates=replicates, per_session=per_session
    )
    if result is None:
        return
    say(what_the_plan_shows(result))
    if len(result.gaps):
        table(gaps_table(result.gaps), name="gaps", alt="What somebody must not get, and why", full=result.gaps)
    with st.expander("How even it is: positions, what follows what, sites"):
        table(balance_table(result.balance), name="balance", alt="How even the plan is", full=result.balance.summary)
        table(places_table(result.balance), name="positions", alt="Prototypes by position")
        table(carry_over_table(result.balance), name="carry_over", alt="What comes straight after what")
        table(sites_table(result.balance), name="sites", alt="Prototypes by site")
    with st.expander("The servings, with the key (not for assessors, nor for the panel leader before the lock)"):
        shown = servings_table(result.servings, result.warm_up)
        table(shown, name="servings", alt="All servings with codes", full=result.servings)
    say([result.method, *result.notes, *what_the_plan_cannot_show()])


def gate() -> None:
    """Show for which batches the safety gate is open."""
    heading("May it be applied?")
    today = now().astimezone().date().isoformat()
    day = st.text_input("On the day", today, key=study.choice("gate day"), help="Year-month-day.")
    result = attempt(safety_gate, study.study, day or today)
    if result is None:
        return
    say(what_the_gate_says(result))
    with st.expander("Batch by batch"):
        table(gate_table(result), name="gate", alt="The safety gate of each batch", full=result.batches)
    st.markdown("Sign-offs and reactions are recorded on the page Safety.")
    say(what_the_gate_cannot_say(result))


scored = not study.study.scores.empty
earlier = attempt(cached.differences, study.key, None, None, study.study) if scored else None
answer = st.container()
replicates = number("Times each sample is scored", 3)
with answer:
    result = sizes(earlier, replicates)
serving_plan(replicates)
gate()
if result is not None:
    how_computed(plain(result.method), result.notes, what_the_sizes_cannot_show())
close()


# Writing a serving plan into a study that has none: codes, orders, places, and the seal of the key.


KEY_FACT = "key"


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
        done = "The serving plan is in the study, its key is sealed."
        said = keep(study, lambda now: _with_plan(now, plan, who), done, who=who)
    except PanelError as error:
        st.warning(plain(error), icon=":material/info:")
        return
    leave_message(said)
    say(what_the_plan_shows(plan))
    st.rerun()


def _with_plan(study: Study, plan: ServingPlan, who: str) -> Study:
    """Return the study with the plan as its servings, and the seal of the key among its facts."""
    salt = new_salt()
    seal = seal_key(serving_key(plan.servings), salt, sealed_by=who, sealed_at=moment())
    servings = plan.servings.assign(position=plan.servings["position"].astype("float64"))
    return replace(
        study,
        tables={**study.tables, "servings": servings},
        facts={**study.facts, KEY_FACT: {**asdict(seal), "salt": salt}},
    )
