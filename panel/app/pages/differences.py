"""Page: which prototypes differ, on what, and by how much?"""

from __future__ import annotations

from itertools import combinations

import streamlit as st

from panel.answers import ASSUMPTIONS, DIFFERENCES, RANKS
from panel.app.state import StudyInUse
from panel.app.widgets import (
    ask,
    attempt,
    close,
    heading,
    how_computed,
    margin_field,
    page,
    picture,
    plain,
    say,
    table,
    telling_prototypes,
)
from panel.models.prototypes.alike import find_alike, planned_differences
from panel.models.prototypes.differences import Differences
from panel.models.prototypes.sensitivity import smallest_difference
from panel.stats.mixed.kenward_roger import SMALL_SAMPLE_WORDS, SmallSample
from panel.study.naming import Naming, naming
from panel.study.scores_used import HOW, scores_used, stated_differences
from panel.study.study import those_in
from panel.views.assessors.scale_use import both_ways_table
from panel.views.drawing.pictures import MOST_COLOURED
from panel.views.planning.study import changed_scores_table
from panel.views.prototypes.alike import (
    alike_headline,
    alike_table,
    planned_headline,
    planned_table,
    what_alike_cannot_show,
    what_is_alike,
    what_planned_differences_cannot_show,
    what_was_planned_shows,
)
from panel.views.prototypes.assumptions import (
    assessor_spread_figure,
    assessor_spread_svg,
    residual_figure,
    residual_svg,
    what_the_assumptions_cannot_show,
    what_the_assumptions_show,
    what_to_do,
)
from panel.views.prototypes.differences import (
    PROFILE_CAUTION,
    attributes_table,
    difference_figure,
    difference_svg,
    headline,
    means_table,
    pairs_table,
    profile_figure,
    profile_svg,
    smallest_difference_table,
    variances_table,
    what_could_have_been_seen,
    what_the_differences_cannot_show,
    what_the_differences_show,
)
from panel.views.prototypes.ranks import do_both_agree, what_the_ranks_cannot_show, what_the_ranks_show

# The differences looked at in other ways: what could have been seen, ranks, the assumptions.


NOTHING, SEEN, BY_RANKS, ASSUMED = (
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
    chosen = st.radio("Look", (NOTHING, SEEN, BY_RANKS, ASSUMED), horizontal=True)
    if chosen == SEEN:
        _seen(result, names)
    elif chosen == BY_RANKS:
        _ranks(study, names)
    elif chosen == ASSUMED:
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
    found = attempt(study.answer, RANKS)
    if found is None:
        return
    st.markdown(f"**{plain(do_both_agree(found, names))}**")
    say(what_the_ranks_show(found, names), first=map(names.attribute, found.attributes["attribute"]))
    say([found.method, *found.notes, *what_the_ranks_cannot_show(found)])


def _assumptions(study: StudyInUse, names: Naming) -> None:
    found = attempt(study.answer, ASSUMPTIONS)
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


# The differences planned beforehand, and what is alike within the margin or not worse.


WITH_BENCHMARK, PLANNED_PAIRS, OTHER_PAIR = "Each with the benchmark", "The planned pairs", "Another pair"


def planned(study: StudyInUse, result: Differences, names: Naming) -> None:
    """Show the differences the study planned, and pairs chosen here, marked as exploratory."""
    heading("Differences planned beforehand")
    chosen = st.multiselect(
        "Look at further pairs (exploratory)",
        _pairs(result),
        format_func=" minus ".join,
        key=study.choice("explored_pairs"),
        placeholder="none",
        persist_state="session",
    )
    found = planned_differences(study.study, result, chosen)
    st.markdown(f"**{plain(planned_headline(found))}**")
    if not found.differences["planned"].any():
        st.caption(plain(HOW))
    if len(found.differences):
        say(what_was_planned_shows(found, names), first=map(names.attribute, found.differences["attribute"]))
        table(
            planned_table(found, names),
            name="planned_differences",
            alt="Differences planned beforehand, and chosen afterwards",
            full=found.differences,
        )
        say([found.method, *what_planned_differences_cannot_show(found)])
    say(found.notes)


def alike(study: StudyInUse, result: Differences, names: Naming) -> None:
    """Show the two one-sided tests of the differences from the benchmark, of the planned pairs, or of a chosen one."""
    heading("Alike within the margin, or not worse")
    stated = stated_differences(study.study).differences
    ways = [
        *([WITH_BENCHMARK] if result.benchmark else []),
        *([PLANNED_PAIRS] if stated else []),
        OTHER_PAIR,
    ]
    way = st.segmented_control("Which differences", ways, default=ways[0], required=True)
    pairs = None
    if way == PLANNED_PAIRS:
        pairs = list(dict.fromkeys((one.prototype, one.versus) for one in stated))
    elif way == OTHER_PAIR:
        first, second = _two(result, names)
        pairs = [(first, second)]
    found = attempt(find_alike, study.study, result, pairs)
    if found is None:
        return
    st.markdown(f"**{plain(alike_headline(found))}**")
    if len(found.differences):
        say(what_is_alike(found, names), first=list(dict.fromkeys(found.differences["prototype"])))
        table(
            alike_table(found, names),
            name="alike",
            alt="Two one-sided tests of each difference against the margin",
            full=found.differences,
        )
        say([found.method, *found.notes, *what_alike_cannot_show(found)])


def _pairs(result: Differences) -> list[tuple[str, str]]:
    return [(second, first) for first, second in combinations(dict.fromkeys(result.means["prototype"]), 2)]


def _two(result: Differences, names: Naming) -> tuple[str, str]:
    """Let the user choose two prototypes."""
    everyone = list(dict.fromkeys(result.means["prototype"]))
    left, right = st.columns(2)
    with left:
        first = st.selectbox("Is this prototype", everyone, 1, format_func=names.prototype)
    with right:
        others = [name for name in everyone if name != first]
        second = st.selectbox("alike with this one", others, format_func=names.prototype)
    return first, second


# Page: which prototypes differ, on what, and by how much?


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
    return ask(
        study.answer,
        DIFFERENCES,
        versus=versus,
        margin=margin,
        adjust_for=tuple(taken_out),
        small_sample=method,
    )


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
        table(
            both_ways_table(result.both_ways, names), name="both_ways", alt="F tests both ways", full=result.both_ways
        )
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
