"""Page: may anybody apply a batch, who says so, and what happened on somebody's skin?"""

from __future__ import annotations

import streamlit as st

from panel.app.safety_forms import reaction_form, settle_form, sign_off_form
from panel.app.widgets import ask, close, heading, page, plain, say, table
from panel.plan.reactions import reactions, unsettled_reactions, when_to_stop
from panel.plan.safety import safety_gate
from panel.store.moments import now
from panel.views.planning.safety_tables import checklist_table, gate_table, reactions_table
from panel.views.planning.safety_words import what_the_gate_cannot_say, what_the_gate_says

study = page("Safety")
gate = ask(safety_gate, study.study, now().astimezone().date().isoformat())
cautions = what_the_gate_cannot_say(gate)
st.caption(plain(cautions[0]))


def checklist() -> None:
    """Show the gate of each batch, and what is signed for one of them."""
    lines = what_the_gate_says(gate)
    first = gate.batches["state"].nunique() + int((gate.batches["frozen"] != "").sum())
    if gate.batches.empty:
        st.markdown("No batches are written down, so nothing may be applied. Fill in the table of batches first.")
        return
    say(lines[:first])
    if lines[first:]:
        with st.expander(f"What is missing ({len(lines) - first} items)"):
            say(lines[first:])
    table(gate_table(gate), name="gate", alt="The safety gate of each batch", full=gate.batches)
    batch = str(st.selectbox("Checklist of batch", list(gate.batches["batch"]), key=study.choice("checked batch")))
    table(checklist_table(gate, batch), name=f"checklist_{batch}", alt=f"What is signed for {batch}", full=gate.items)


def on_the_skin() -> None:
    """Show the reactions on record, and let one be written down or settled."""
    heading("Adverse reactions")
    st.markdown(f"**{plain(when_to_stop())}**")
    known = reactions(study.study)
    if known.empty:
        st.markdown("No reaction is on record.")
    else:
        table(reactions_table(known), name="reactions", alt="Reactions on record", full=known)
    with st.expander("Write down a reaction"):
        reaction_form(study)
    if len(unsettled_reactions(study.study)):
        with st.expander("Settle a reaction"):
            settle_form(study)


checklist()
heading("Record a sign-off")
st.markdown(
    "Written by whoever keeps the record, about a document that a qualified person signed. Nothing is approved here."
)
sign_off_form(study)
on_the_skin()
heading("Before anybody applies anything")
say(cautions[1:])
with st.expander("How the gate works"):
    st.markdown(plain(gate.method))
close()
