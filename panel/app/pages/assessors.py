"""Page: can each assessor be relied on, and what would change without one of them?"""

from __future__ import annotations

import streamlit as st

from panel.app import cached
from panel.app.widgets import ask, attempt, close, heading, how_computed, page, picture, plain, say, table
from panel.models.assessors.performance import ACTIONS, PanelCheck
from panel.study.naming import naming
from panel.views.assessors.assessor_pictures import (
    grid_figure,
    grid_svg,
    means_figure,
    means_svg,
    slopes_figure,
    slopes_svg,
)
from panel.views.assessors.assessor_words import (
    assessor_sentence,
    assessor_table,
    duplicates_table,
    panel_headline,
    panel_table,
    people_table,
    scale_factors_table,
    scale_use_headline,
    scale_use_table,
    what_scale_use_cannot_show,
    what_scale_use_shows,
    what_the_assessors_show,
    what_the_panel_check_cannot_show,
    what_would_be_noticed,
    without_differences_table,
    without_table,
)

study = page("Panel")
names = naming(study.study)


def one_person(result: PanelCheck) -> None:
    """Show one assessor against the others: slopes, and the means on one attribute."""
    heading("One assessor")
    people = [str(name) for name in result.people["assessor"]]
    judged = [ACTIONS.index(judgement) for judgement in result.people["judgement"]]
    gravest = judged.index(max(judged))
    who = st.selectbox("Assessor", people, gravest, key=study.choice("assessor"), persist_state="session")
    st.markdown(plain(assessor_sentence(result, names, who)))
    rows = result.assessors.loc[(result.assessors["assessor"] == who)]
    if rows["judged"].any():
        picture(
            slopes_svg(result, names, who),
            lambda: slopes_figure(result, names, who),
            name="slopes",
            alt=f"Slopes of {who} on the others' means; the table of this assessor has the numbers.",
        )
    attributes = list(rows["attribute"])
    told = [name for name in result.patterns.loc[result.patterns["assessor"] == who, "attribute"] if name in attributes]
    first = attributes.index(told[0]) if told else 0
    attribute = st.selectbox("Attribute", attributes, first, format_func=names.attribute)
    picture(
        means_svg(result, names, who, attribute),
        lambda: means_figure(result, names, who, attribute),
        name="assessor_means",
        alt=f"Means of {who} and of the others on {names.attribute(attribute)}.",
    )
    table(assessor_table(result, names, who), name="assessor", alt=f"{who} on every attribute", full=rows)


def without_each(result: PanelCheck) -> None:
    """Show what leaving out one person would change."""
    heading("With and without each assessor")
    st.caption("Leaving somebody out needs a rule recorded before unblinding, and both results are shown.")
    table(
        without_table(result.without, names), name="without", alt="F tests without each assessor", full=result.without
    )
    with st.expander("Differences from the benchmark, with and without"):
        found = attempt(cached.left_out, study.key, study.study)
        if found is not None and len(found.differences):
            chosen = st.selectbox("Without", [name for name in dict.fromkeys(found.differences["assessor"]) if name])
            rows = found.differences.loc[found.differences["assessor"].isin(["", chosen])]
            shown = without_differences_table(rows, names, result.level)
            table(shown, name="without_differences", alt="Differences with and without", full=found.differences)
            st.caption(plain(found.method))
        elif found is not None:
            st.markdown("No benchmark was set, so there are no differences from one.")


def use_of_scale() -> None:
    """Show the scaling model beside the additive one."""
    heading("Use of the scale")
    result = attempt(cached.scale_use, study.key, study.study)
    if result is None:
        return
    st.markdown(plain(scale_use_headline(result, names)))
    say(what_scale_use_shows(result, names))
    with st.expander("Tests with use of the scale, and how much of it each assessor uses"):
        shown = scale_use_table(result, names)
        table(shown, name="scale_use", alt="Both models side by side", full=result.attributes)
        table(scale_factors_table(result, names), name="scale_factors", alt="Use of the scale", full=result.factors)
        say([result.method, *result.notes, *what_scale_use_cannot_show()])


result = ask(cached.panel_check, study.key, study.study)
st.markdown(f"**{plain(panel_headline(result))}**")
say(what_the_assessors_show(result, names), first=list(result.people["assessor"]))
picture(
    grid_svg(result, names),
    lambda: grid_figure(result, names),
    name="assessors",
    alt="Every assessor on every attribute; the tables have the numbers.",
)
st.caption(plain(what_would_be_noticed(result, names)))
table(people_table(result), name="people", alt="Every assessor over all attributes", full=result.people)
one_person(result)
without_each(result)
use_of_scale()
heading("The panel as a whole")
table(panel_table(result, names), name="panel", alt="How well the panel measures each attribute", full=result.panel)
if len(result.duplicates):
    heading("Blind duplicates")
    shown = duplicates_table(result, names)
    table(shown, name="duplicates", alt="How far same samples were put apart", full=result.duplicates)
how_computed(result.method, result.notes, what_the_panel_check_cannot_show(result))
close()
