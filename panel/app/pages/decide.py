"""Page: which prototype comes nearest to what is wanted, can it be told from the others, and who decided what?"""

from __future__ import annotations

import streamlit as st

from panel.answers import DECISION, SEED
from panel.app.state import StudyInUse, keep, leave_message, moment
from panel.app.widgets import ask, attempt, close, heading, how_computed, page, picture, plain, say, table
from panel.models.decision.decide import Decision
from panel.models.decision.profile import Profile, target_profile
from panel.models.decision.record import NONE_CHOSEN, decisions_so_far, first_changed_decision, with_decision
from panel.study.naming import Naming, naming
from panel.study.numbers_read import typed_number
from panel.views.decision.decide import (
    decision_headline,
    decisions_table,
    front_table,
    gates_table,
    opposed_sentences,
    pairs_decision_table,
    ranking_table,
    weight_shares_table,
    weights_table,
    what_the_decision_cannot_show,
    what_the_decision_shows,
    windows_table,
)
from panel.views.decision.decision_pictures import (
    INTERVALS_KEY,
    chances_alt_text,
    chances_figure,
    chances_svg,
    windows_figure,
    windows_svg,
)
from panel.views.drawing.pictures import MOST_COLOURED

# The parts of the page Decide: weights, pictures, gates, what is not met, who is beaten, other weights.


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
                text = st.text_input(plain(names.attribute(name)), f"{weight:g}", key=study.choice(f"weight of {name}"))
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


# Writing down a decision: who decided for which prototype, why, and what is not established.


def decision_record(study: StudyInUse, result: Decision, names: Naming) -> None:
    """Show the decisions so far and let a named person write down another one."""
    heading("The decision")
    so_far = decisions_so_far(study.study)
    if len(so_far):
        table(decisions_table(so_far), name="decisions", alt="Decisions recorded, the last one first", full=so_far)
        broken = first_changed_decision(study.study.table("decisions"))
        if broken is not None:
            st.warning(f"Decision {broken + 1} was changed after it was written.", icon=":material/info:")
    say(["People decide; this keeps what they wrote, with the hash of the data. A later change is a new row."])
    with st.form("decision", clear_on_submit=False):
        options = [str(name) for name in result.ranking["prototype"]]
        left, right = st.columns(2)
        chosen = left.selectbox("Chosen", [NONE_CHOSEN, *options], format_func=names.prototype)
        runner_up = right.selectbox("Runner-up", ["", *options], format_func=lambda name: names.prototype(name) or "–")
        reason = st.text_area("Why", height="content")
        open_still = st.text_area("What is not established", height="content")
        who = left.text_input("Who decides")
        role = right.text_input("In which role")
        to_disk = study.folder is not None and st.checkbox(f"Also write it into {plain(study.folder)}")
        if not st.form_submit_button("Record the decision"):
            return
    words = {"reason": reason or "", "not_established": open_still or "", "who": who or "", "role": role or ""}
    words |= {"chosen": chosen or "", "runner_up": runner_up or "", "date": moment()}
    said = attempt(
        lambda: keep(
            study,
            lambda now: with_decision(now, seen=study.study, **words),
            "The decision is recorded.",
            who=words["who"],
            to_disk=to_disk,
        )
    )
    if said is not None:
        leave_message(said)
        st.rerun()


# Page: which prototype comes nearest to what is wanted, can it be told from the others, and who decided what?


study = page("Decide")
names = naming(study.study)
profile = ask(target_profile, study.study)
answer = st.container()
weights = typed_weights(study, profile, names)
result = ask(study.answer, DECISION, weights=None if weights is None else dict(weights))
with answer:
    st.markdown(f"**{plain(decision_headline(result))}**")
    say(what_the_decision_shows(result, names))

chances(result, names)
heading("Ranking")
table(ranking_table(result, names), name="ranking", alt="Prototypes by desirability", full=result.ranking)
gates(result)
unmet(result, names)
other_choices(result, names)
decision_record(study, result, names)
seed = f"The draws start from seed {SEED}, so that the same study gives the same chances."
how_computed(result.method, (*result.notes, seed), what_the_decision_cannot_show())
close()
