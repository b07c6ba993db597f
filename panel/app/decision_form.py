"""Writing down a decision: who decided for which prototype, why, and what is not established."""

from __future__ import annotations

import streamlit as st

from panel.app.state import StudyInUse, leave_message, moment, use_study
from panel.app.widgets import attempt, heading, say, table
from panel.models.decision.decide import Decision
from panel.models.decision.record import NONE_CHOSEN, decisions_so_far, first_changed_decision, with_decision
from panel.study.folder import write_study
from panel.views.decision.decision_tables import decisions_table
from panel.views.drawing.naming import Naming


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
        to_disk = study.folder is not None and st.checkbox(f"Also write it into {study.folder}")
        if not st.form_submit_button("Record the decision"):
            return
    words = {"reason": reason or "", "not_established": open_still or "", "who": who or "", "role": role or ""}
    recorded = attempt(
        with_decision, study.study, chosen=chosen or "", runner_up=runner_up or "", date=moment(), **words
    )
    if recorded is None:
        return
    if to_disk and study.folder is not None:
        write_study(recorded, study.folder, overwrite=True)
    else:
        use_study(study.handle.name, recorded)
    leave_message(
        "The decision is recorded"
        + (f" in {study.folder}." if to_disk else "; save a copy of the study on the page Study.")
    )
    st.rerun()
