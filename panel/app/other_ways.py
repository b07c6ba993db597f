"""The differences looked at in other ways: what could have been seen, ranks, the assumptions."""

from __future__ import annotations

import streamlit as st

from panel.app import cached
from panel.app.state import StudyInUse
from panel.app.widgets import attempt, heading, picture, plain, say, table
from panel.models.prototypes.differences import Differences
from panel.models.prototypes.sensitivity import smallest_difference
from panel.views.drawing.naming import Naming
from panel.views.prototypes.assumption_pictures import (
    assessor_spread_figure,
    assessor_spread_svg,
    residual_figure,
    residual_svg,
)
from panel.views.prototypes.assumption_words import (
    what_the_assumptions_cannot_show,
    what_the_assumptions_show,
    what_to_do,
)
from panel.views.prototypes.rank_words import do_both_agree, what_the_ranks_cannot_show, what_the_ranks_show
from panel.views.prototypes.sensitivity_tables import smallest_difference_table, what_could_have_been_seen

NOTHING, SEEN, RANKS, ASSUMPTIONS = (
    "Not now",
    "What this panel could have seen",
    "By ranks alone",
    "What the model assumes",
)


def other_ways(study: StudyInUse, result: Differences, names: Naming) -> None:
    """Let the user choose another look at the same differences; nothing is computed before it is asked for."""
    heading("Looked at in other ways")
    st.caption(
        "None of these replaces the result above; where one disagrees, find out why. "
        "Use of the scale is looked at on the page Panel."
    )
    chosen = st.radio("Look", (NOTHING, SEEN, RANKS, ASSUMPTIONS), horizontal=True)
    if chosen == SEEN:
        _seen(result, names)
    elif chosen == RANKS:
        _ranks(study, names)
    elif chosen == ASSUMPTIONS:
        _assumptions(study, names)


def _seen(result: Differences, names: Naming) -> None:
    found = smallest_difference(result)
    st.markdown(plain(what_could_have_been_seen(found, names)))
    table(
        smallest_difference_table(found, names),
        name="smallest_differences",
        alt="Smallest difference likely to be seen, by attribute and family",
        full=found.differences,
    )
    say([found.method, *found.notes])


def _ranks(study: StudyInUse, names: Naming) -> None:
    found = attempt(cached.ranks, study.key, study.study)
    if found is None:
        return
    st.markdown(f"**{plain(do_both_agree(found, names))}**")
    say(what_the_ranks_show(found, names), first=map(names.attribute, found.attributes["attribute"]))
    say([found.method, *found.notes, *what_the_ranks_cannot_show(found)])


def _assumptions(study: StudyInUse, names: Naming) -> None:
    found = attempt(cached.assumptions, study.key, study.study)
    if found is None:
        return
    say(what_the_assumptions_show(found, names))
    if advice := what_to_do(found):
        say([f"{kind}: {words}" for kind, words in advice], first=[kind for kind, _ in advice])
    attribute = st.selectbox(
        "Attribute", list(dict.fromkeys(found.residuals["attribute"])), format_func=names.attribute
    )
    left, right = st.columns(2)
    with left:
        picture(
            residual_svg(found, attribute, names),
            lambda: residual_figure(found, attribute, names),
            name="residuals",
            alt="What is left over of each score against the fitted score.",
        )
    with right:
        picture(
            assessor_spread_svg(found, attribute, names),
            lambda: assessor_spread_figure(found, attribute, names),
            name="residual_spread",
            alt="Spread of what is left over, by assessor.",
        )
    say([found.method, *found.notes, *what_the_assumptions_cannot_show(found)])
