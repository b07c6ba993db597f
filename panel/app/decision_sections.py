"""The parts of the page Decide: weights, pictures, gates, what is not met, who is beaten, other weights."""

from __future__ import annotations

import streamlit as st

from panel.app.state import StudyInUse
from panel.app.widgets import attempt, heading, picture, plain, say, table
from panel.models.decision.decide import Decision
from panel.models.decision.profile import Profile
from panel.study.typed_number import typed_number
from panel.views.decision.decision_pictures import (
    INTERVALS_KEY,
    chances_alt_text,
    chances_figure,
    chances_svg,
    windows_figure,
    windows_svg,
)
from panel.views.decision.decision_tables import (
    front_table,
    gates_table,
    pairs_decision_table,
    weight_shares_table,
    weights_table,
    windows_table,
)
from panel.views.decision.decision_words import opposed_sentences
from panel.views.drawing.naming import Naming
from panel.views.drawing.palette import MOST_COLOURED

_MEANS, _DIFFERENCES = "Means", "Differences from the benchmark"


def typed_weights(study: StudyInUse, profile: Profile, names: Naming) -> tuple[tuple[str, float], ...] | None:
    """Return the weights typed in, None while they are those of the study."""
    stated = dict(zip(profile.attributes, profile.wanted["weight"].astype(float), strict=True))
    typed: dict[str, float] = {}
    with st.expander("Weights: what counts how much"):
        st.caption("Only their ratios count. 0 leaves an attribute out of the ranking, not out of its window.")
        columns = st.columns(3)
        for place, (name, weight) in enumerate(stated.items()):
            with columns[place % 3]:
                text = st.text_input(names.attribute(name), f"{weight:g}", key=study.choice(f"weight of {name}"))
                value = attempt(typed_number, text or f"{weight:g}", f"The weight of {name}")
                typed[name] = weight if value is None else value
    return None if typed == stated else tuple(typed.items())


def chances(result: Decision, names: Naming) -> None:
    """Show the chance of every window."""
    heading("Chances of meeting the windows")
    picture(
        chances_svg(result, names),
        lambda: chances_figure(result, names),
        name="chances",
        alt=chances_alt_text(result, names),
    )
    with st.expander("Windows beside the intervals"):
        order = [str(name) for name in result.ranking["prototype"]]
        first = [*result.contenders, *(name for name in order if name not in result.contenders)][:3]
        chosen = st.multiselect("Prototypes", order, first, max_selections=MOST_COLOURED, format_func=names.prototype)
        ways = [_MEANS] if result.benchmark is None else [_MEANS, _DIFFERENCES]
        versus = st.segmented_control("Show", ways, default=_MEANS, required=True) == _DIFFERENCES
        if chosen:
            picture(
                windows_svg(result, names, chosen, versus=versus),
                lambda: windows_figure(result, names, chosen, versus=versus),
                name="windows",
                alt="Windows beside the intervals; the table of windows has the numbers.",
            )
            st.caption(plain(INTERVALS_KEY))
        shown = windows_table(result.windows, names, result.level)
        table(shown, name="windows", alt="Every window and prototype", full=result.windows)


def gates(result: Decision) -> None:
    """Show who passes the gates."""
    heading("Gates")
    if result.gates.empty:
        st.markdown("The study states no gates. Write them into its facts (`gates`): pH, viscosity, shares, contents.")
        return
    table(gates_table(result), name="gates", alt="Gates by prototype", full=result.gates)
    st.caption("What is not known never passes. Stability is what was recorded; nothing here judges it.")


def unmet(result: Decision, names: Naming) -> None:
    """Show which windows those in the running do not meet, the others folded away, and the pairs."""
    heading("What is not met")
    own = result.unmet.loc[result.unmet["prototype"].isin(result.contenders)]
    if own.empty:
        st.markdown("Those in the running meet every window with their means.")
    else:
        shown = windows_table(own, names, result.level)
        table(shown, name="unmet", alt="Windows that those in the running do not meet", full=result.unmet)
    if len(own) < len(result.unmet):
        with st.expander("The others as well"):
            shown = windows_table(result.unmet, names, result.level)
            table(shown, name="all_unmet", alt="Every window not met", full=result.unmet)
    say(opposed_sentences(result))
    with st.expander("Who can be told apart: all pairs of prototypes"):
        table(pairs_decision_table(result), name="pairs", alt="All pairs of prototypes", full=result.pairs)


def other_choices(result: Decision, names: Naming) -> None:
    """Show who is beaten on everything, and what other weights would change."""
    with st.expander("Beaten on everything at once"):
        st.caption("On all attributes with a window, and liking; without weights. Means as they came out.")
        table(front_table(result, names), name="front", alt="Who is beaten by whom", full=result.front)
    with st.expander("Other weights"):
        table(weights_table(result, names), name="weights", alt="Who comes first", full=result.weights.changes)
        table(
            weight_shares_table(result, names), name="weight_shares", alt="Random weights", full=result.weights.shares
        )
