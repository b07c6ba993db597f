"""Page: how many people, who gets what in which order, and may it be applied at all?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import streamlit as st

from panel.answers import DIFFERENCES
from panel.app.widgets import ask, attempt, close, heading, how_computed, margin_field, page, picture, plain, say, table
from panel.checks.confounds import making_confounds
from panel.models.prototypes.batch_spread import batch_spread
from panel.models.prototypes.differences import Differences
from panel.plan.batch_numbers import batch_numbers
from panel.plan.orders import MOST_PER_SESSION
from panel.plan.safety import safety_gate
from panel.plan.sample_size import (
    PanelSizes,
    PlanningScale,
    own_scatter,
    panel_sizes,
    planning_scale,
    planning_scatter,
    typical_scatter,
    what_you_can_see,
    without_scale,
)
from panel.plan.study_plan import plan_study
from panel.store.database import now
from panel.study.naming import Naming, decimals, naming
from panel.study.numbers_read import typed_number
from panel.views.planning.plan import (
    balance_table,
    carry_over_table,
    gaps_table,
    places_table,
    servings_table,
    sites_table,
    what_batches_buy,
    what_the_plan_cannot_show,
    what_the_plan_shows,
    what_the_sizes_cannot_show,
    what_the_sizes_show,
)
from panel.views.planning.safety import gate_table, what_the_gate_cannot_say, what_the_gate_says
from panel.views.planning.sizes import (
    batch_numbers_table,
    panel_sizes_table,
    power_alt_text,
    power_figure,
    power_svg,
    what_you_can_see_table,
)
from panel.words import format_list

SHOWN_ASSESSORS = (8, 10, 12)
BATCH_HELP = (
    "In scale units, from earlier studies with two batches of each; empty for what the study states (batch_sd)."
)
HELP = {"Seed of the order": "Any whole number. The same number gives the same order and codes again."}
study = page("Servings")
names = naming(study.study)


def number(label: str, usual: int) -> int:
    """Return a whole number typed into a field."""
    text = st.text_input(label, str(usual), key=study.choice(label), help=HELP.get(label))
    return int(ask(typed_number, text or str(usual), label) or 0)


def sizes(earlier: Differences | None, replicates: int) -> PanelSizes | None:
    """Show what panels of different sizes can see."""
    scale = attempt(planning_scale, study.study, ends_asked())
    shown = in_units(scale)
    margin = margin_field(study, shown, per_cent=scale is not None and not scale.shared)
    if scale is None:
        return None
    own = own_scatter(earlier.variances, scale.units) if earlier is not None else []
    scatter = typical_scatter(own) if own else planning_scatter(scale.length)
    margin = margin or scale.usual_difference
    result = attempt(panel_sizes, margin, len(study.study.prototypes), scatter, length=scale.length)
    if result is None:
        return None
    say(what_the_sizes_show(result, shown))
    picture(
        power_svg(result, SHOWN_ASSESSORS, replicates, shown),
        lambda: power_figure(result, SHOWN_ASSESSORS, replicates, shown),
        name="power",
        alt=power_alt_text(result, SHOWN_ASSESSORS, replicates, shown),
    )
    with st.expander("Panels of different sizes"):
        sized = panel_sizes_table(result, shown.digits)
        table(sized, name="sizes", alt="What panels of different sizes can see", full=result.sizes)
    with st.expander("Two batches at half the replicates?"):
        known = batch_spread(study.study, making_confounds(study.study)).of("")
        text = st.text_input("Standard deviation between batches", "", key=study.choice("batch sd"), help=BATCH_HELP)
        spread = ask(typed_number, text, "Standard deviation between batches") if text else known
        if spread is not None and np.isfinite(spread):
            people, k = max(len(study.study.assessors), 2), len(study.study.prototypes)
            weighed = attempt(batch_numbers, margin, k, scatter, spread, people, replicates)
            if weighed is not None:
                say([what_batches_buy(weighed)])
                told = batch_numbers_table(weighed)
                table(told, name="batches", alt="What batches and replicates buy", full=weighed.rows)
                say([weighed.method, *weighed.notes])
    if earlier is not None and own:
        own_panel(earlier, replicates)
    return result


def own_panel(earlier: Differences, replicates: int) -> None:
    """Show what the people of this study can see, each attribute in the units of its own scale."""
    with st.expander("What the people you have can see, by attribute, from this study's own scatter"):
        people, k = len(study.study.assessors), len(study.study.prototypes)
        seen = what_you_can_see(people, replicates, k, own_scatter(earlier.variances))
        table(what_you_can_see_table(seen, names), name="seen", alt="Smallest differences by attribute", full=seen)


def in_units(scale: PlanningScale | None) -> Naming:
    """Return the words of the study, on the scale that is planned in."""
    if scale is None:
        return replace(names, scale="")
    if not scale.shared:
        return replace(names, scale="% of each scale", digits=decimals(scale.length))
    return replace(names, digits=decimals(scale.length))


def ends_asked() -> tuple[float, float] | None:
    """Ask for the ends of the scale where the study does not say them; None as long as they are not typed."""
    unknown = without_scale(study.study) if study.study.attributes else ()
    if not unknown and (study.study.attributes or study.study.scale("")):
        return None
    of = f" of {plain(format_list(list(map(names.attribute, unknown))))}" if unknown else ""
    st.markdown(f"The study does not say where the scale{of} begins and ends. The size of a panel depends on it.")
    left, right = st.columns(2)
    typed = [
        place.text_input(label, key=study.choice(label)) or ""
        for place, label in ((left, "Lowest possible score"), (right, "Highest possible score"))
    ]
    low, high = (attempt(typed_number, text, "The end of the scale") for text in typed)
    return None if low is None or high is None else (low, high)


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
earlier = attempt(study.answer, DIFFERENCES) if scored else None
answer = st.container()
replicates = number("Times each sample is scored", 3)
with answer:
    result = sizes(earlier, replicates)
serving_plan(replicates)
gate()
if result is not None:
    how_computed(plain(result.method), result.notes, what_the_sizes_cannot_show())
close()
