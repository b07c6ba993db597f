"""Page: which prototypes differ, on what, and by how much?"""

from __future__ import annotations

import streamlit as st

from panel.app import cached
from panel.app.choices import margin_field, telling_prototypes
from panel.app.other_ways import other_ways
from panel.app.planned import alike, planned
from panel.app.widgets import ask, close, heading, how_computed, page, picture, plain, say, table
from panel.models.prototypes.differences import Differences
from panel.models.prototypes.inference import SMALL_SAMPLE_WORDS, SmallSample
from panel.study.scores_used import scores_used
from panel.study.those_in import those_in
from panel.views.assessors.both_ways import both_ways_table
from panel.views.drawing.naming import Naming, naming
from panel.views.drawing.palette import MOST_COLOURED
from panel.views.planning.study_tables import changed_scores_table
from panel.views.prototypes.difference_pictures import difference_figure, difference_svg
from panel.views.prototypes.difference_words import (
    headline,
    what_the_differences_cannot_show,
    what_the_differences_show,
)
from panel.views.prototypes.profiles import PROFILE_CAUTION, profile_figure, profile_svg
from panel.views.prototypes.tables import attributes_table, means_table, pairs_table, variances_table

SERVING_WORDS = {"position": "serving position", "site": "site", "first_on_site": "being the first on a site"}
BY_PROTOTYPE, BY_ATTRIBUTE = "One prototype, all attributes", "One attribute, all prototypes"

study = page("Differences")
names = naming(study.study)
scored = list(those_in(study.study.prototypes, study.study.scores["prototype"]))
answer = st.container()


def settings() -> Differences:
    """Return the differences under the benchmark and the margin that were chosen."""
    left, right = st.columns(2)
    with left:
        first = scored.index(study.study.benchmark) if study.study.benchmark in scored else None
        versus = st.selectbox(
            "Compare with",
            scored,
            first,
            format_func=names.prototype,
            key=study.choice("versus"),
            placeholder="nothing chosen: all pairs",
            persist_state="session",
        )
    with right:
        margin = margin_field(study, names)
    with st.expander("How it is computed"):
        taken_out = st.multiselect("Take out the effect of", list(SERVING_WORDS), format_func=SERVING_WORDS.__getitem__)
        method: SmallSample = st.radio(
            "Degrees of freedom",
            ("satterthwaite", "kenward-roger"),
            format_func=SMALL_SAMPLE_WORDS.__getitem__,
            horizontal=True,
        )
    return ask(cached.differences, study.key, versus, margin, study.study, tuple(taken_out), method)


def profiles(result: Differences, names: Naming) -> None:
    """Show the profiles of the chosen prototypes."""
    heading("Profiles")
    chosen = st.multiselect(
        "Prototypes to show",
        scored,
        telling_prototypes(result, 3),
        format_func=names.prototype,
        max_selections=MOST_COLOURED,
        key=study.choice("profiles"),
        persist_state="session",
    )
    if chosen:
        picture(
            profile_svg(result.means, names, chosen),
            lambda: profile_figure(result.means, names, chosen),
            name="profiles",
            alt="Estimated means of the chosen prototypes with intervals; the table of means has the numbers.",
        )
        st.caption(plain(PROFILE_CAUTION))


def from_benchmark(result: Differences, names: Naming) -> None:
    """Show the differences of one prototype or on one attribute."""
    heading(f"Differences from {result.benchmark}" if result.benchmark else "Differences")
    rows = result.versus if result.benchmark else result.pairs
    by = st.segmented_control("Show", [BY_PROTOTYPE, BY_ATTRIBUTE], default=BY_PROTOTYPE, required=True)
    if by == BY_ATTRIBUTE:
        attribute = st.selectbox("Attribute", list(dict.fromkeys(rows["attribute"])), format_func=names.attribute)
        rows = rows.loc[rows["attribute"] == attribute]
    else:
        pairs = list(dict.fromkeys(zip(rows["prototype"], rows["versus"], strict=True)))
        first, second = st.selectbox("Prototype", pairs, format_func=" compared with ".join)
        rows = rows.loc[(rows["prototype"] == first) & (rows["versus"] == second)]
    picture(
        difference_svg(rows, names, margin=result.margin),
        lambda: difference_figure(rows, names, margin=result.margin),
        name="differences",
        alt="Differences with their intervals; the table of pairs has the numbers.",
    )


def tables(result: Differences, names: Naming) -> None:
    """Show the tables, the means open and the others folded away."""
    heading("Means")
    st.caption("Prototypes that share a letter within a row are not told apart.")
    table(means_table(result.means, names), name="means", alt="Means by attribute and prototype", full=result.means)
    used = scores_used(study.study)
    if len(used.set_aside) or len(used.corrected):
        heading("With and without the changed scores")
        if len(result.both_ways):
            both = both_ways_table(result.both_ways, names)
            table(both, name="both_ways", alt="F tests both ways", full=result.both_ways)
        changed = changed_scores_table(used.set_aside, used.corrected, names)
        table(changed, name="changed_scores", alt="Scores set aside or corrected, and why")
    with st.expander("Tests per attribute"):
        shown = attributes_table(result.attributes, names, result.level)
        table(shown, name="tests", alt="F test of each attribute", full=result.attributes)
    with st.expander("All pairs of prototypes"):
        table(pairs_table(result.pairs, names, result.level), name="pairs", alt="All pairs", full=result.pairs)
    with st.expander("Where the scatter comes from"):
        shown = variances_table(result.variances, names)
        table(shown, name="scatter", alt="Standard deviations by source", full=result.variances)


result = settings()
with answer:
    st.markdown(f"**{plain(headline(result, names))}**")
    say(what_the_differences_show(result, names), first=map(names.attribute, result.attributes["attribute"]))
profiles(result, names)
from_benchmark(result, names)
tables(result, names)
planned(study, result, names)
alike(study, result, names)
other_ways(study, result, names)
how_computed(result.method, result.notes, what_the_differences_cannot_show(result))
close()
