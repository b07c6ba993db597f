"""The differences planned beforehand, and what is alike within the margin or not worse."""

from __future__ import annotations

from itertools import combinations

import streamlit as st

from panel.app.state import StudyInUse
from panel.app.widgets import attempt, heading, plain, say, table
from panel.models.prototypes.alike import find_alike
from panel.models.prototypes.differences import Differences
from panel.models.prototypes.planned_differences import planned_differences
from panel.study.planned_differences import HOW, stated_differences
from panel.views.drawing.naming import Naming
from panel.views.prototypes.alike_words import alike_headline, alike_table, what_alike_cannot_show, what_is_alike
from panel.views.prototypes.planned_words import (
    planned_headline,
    planned_table,
    what_planned_differences_cannot_show,
    what_was_planned_shows,
)

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
