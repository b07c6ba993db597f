"""Page: which prototype comes nearest to what is wanted, can it be told from the others, and who decided what?"""

from __future__ import annotations

import streamlit as st

from panel.answers import DECISION
from panel.app.state import StudyInUse, keep, leave_message, moment
from panel.app.widgets import ask, attempt, plain, say, show_items
from panel.app.widgets import show as show_told
from panel.models.decision.record import NONE_CHOSEN, decisions_so_far, first_changed_decision, with_decision
from panel.models.decision.wanted import Profile, target_profile
from panel.study.naming import Naming, naming
from panel.study.numbers_read import typed_number
from panel.views.decision.decide import DECISIONS, tell_decision
from panel.views.decision.decision_pictures import windows_picture
from panel.views.pictures import MOST_COLOURED
from panel.views.told import Shown, Told

_MEANS, _DIFFERENCES = "Means", "Differences from the benchmark"


def show(study: StudyInUse) -> None:
    """Show how the prototypes stand to the targets, and let people write down what they decided."""
    names = naming(study.study)
    profile = ask(target_profile, study.study)
    answer = st.container()
    weights = _typed_weights(study, profile, names)
    told = tell_decision(ask(study.answer, DECISION, weights=None if weights is None else dict(weights)), names)
    with answer:
        show_told(told)
    with st.expander("Windows beside the intervals of other prototypes"):
        _beside_intervals(told)
    with st.expander("Write down the decision"):
        _record(study, told)


def _typed_weights(study: StudyInUse, profile: Profile, names: Naming) -> tuple[tuple[str, float], ...] | None:
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


def _beside_intervals(told: Told) -> None:
    """Show windows beside the intervals of the prototypes chosen."""
    result, names = told.result, told.names
    order = [str(name) for name in result.ranking["prototype"]]
    first = [*result.contenders, *(name for name in order if name not in result.contenders)][:3]
    chosen = st.multiselect("Prototypes", order, first, max_selections=MOST_COLOURED, format_func=names.prototype)
    ways = [_MEANS] if result.benchmark is None else [_MEANS, _DIFFERENCES]
    versus = st.segmented_control("Show", ways, default=_MEANS, required=True) == _DIFFERENCES
    if chosen:
        show_items([windows_picture(result, names, chosen, versus=versus)], told)


def _record(study: StudyInUse, told: Told) -> None:
    """Show the decisions so far and let a named person write down another one."""
    names, so_far = told.names, decisions_so_far(study.study)
    if len(so_far):
        show_items([Shown(DECISIONS, so_far, names)], told)
        broken = first_changed_decision(study.study.table("decisions"))
        if broken is not None:
            st.warning(f"Decision {broken + 1} was changed after it was written.", icon=":material/info:")
    say(["People decide; this keeps what they wrote, with the hash of the data. A later change is a new row."])
    with st.form("decision", clear_on_submit=False):
        options = [str(name) for name in told.result.ranking["prototype"]]
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
