"""Page: may anybody apply a batch, who says so, and what happened on somebody's skin?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date

import pandas as pd
import streamlit as st

from panel.app import widgets
from panel.app.places import go
from panel.app.state import StudyInUse
from panel.checks.all_checks import readiness
from panel.errors import PanelError
from panel.plan import safety
from panel.store.ballot import tell_ballots
from panel.store.database import now
from panel.study.knowledge import shared_table
from panel.study.naming import naming
from panel.study.people import WHO_MAY_SEE
from panel.study.shown import Shown
from panel.study.study import Study
from panel.views.planning.safety import REACTIONS, checklist, tell_gate
from panel.views.told import Told
from panel.words import counted

# Writing into the safety record: sign-offs, reactions, what settles them. The tool records; it approves nothing.


_ALL_BATCHES, _UNKNOWN = "all batches", "not known: freeze all batches"


def _sign_off_form(study: StudyInUse) -> None:
    items = shared_table("safety_gate").set_index("item")
    batches = [name for name in study.study.table("batches")["batch"].unique() if name]
    with st.form("sign-off"):
        chosen = st.multiselect("Items", list(items.index), format_func=lambda item: str(items.loc[item, "words"]))
        left, right = st.columns(2)
        batch = str(left.selectbox("For", [_ALL_BATCHES, *batches]))
        outcome = str(right.selectbox("What is stated", safety.OUTCOMES))
        first, second, third = st.columns(3)
        facts = {
            "who": first.text_input("Who signed (name)") or "",
            "role": second.text_input("In which role", help="What qualifies this person to sign these items.") or "",
            "date": third.text_input("Signed on", date.today().isoformat(), help="Year-month-day.") or "",
        }
        first, second, third = st.columns(3)  # a row of its own, so that a phone keeps the order
        facts |= {
            "document": first.text_input("Document, and where it is") or "",
            "valid_until": second.text_input("Valid until (if limited)", help="Year-month-day.") or "",
            "note": third.text_input("Note; the reason if not signed") or "",
        }
        if st.form_submit_button("Record it"):
            facts |= {"outcome": outcome, "batch": "" if batch == _ALL_BATCHES else batch}
            done = f"{counted(len(chosen), 'sign-off')} recorded."
            _change(study, lambda now: safety.with_sign_offs(now, chosen, **facts), done, facts["who"])


def _reaction_form(study: StudyInUse) -> None:
    """Let somebody write down what happened on somebody's skin; its batches are frozen until it is settled."""
    batches = [name for name in study.study.table("batches")["batch"].unique() if name]
    with st.form("reaction"):
        first, second, third = st.columns(3)
        assessor = str(first.selectbox("Assessor", ["", *study.study.assessors]))
        batch = str(second.selectbox("Batch that was applied", [_UNKNOWN, *batches]))
        severity = str(third.selectbox("How grave", safety.SEVERITIES))
        first, second, third = st.columns(3)  # a row of its own, so that a phone keeps the order
        facts = {
            "when": first.text_input("When it was seen", date.today().isoformat()) or "",
            "session": second.text_input("Session") or "",
            "who": third.text_input("Who writes it down") or "",
            "signs": st.text_input("What was seen or felt, and where") or "",
            "action": st.text_input("What was done") or "",
            "seen_by": st.text_input("Qualified person who saw it") or "",
        }
        if st.form_submit_button("Write it down and freeze the batch"):
            facts |= {"assessor": assessor, "severity": severity, "batch": "" if batch == _UNKNOWN else batch}
            done = "The reaction is on record and its batches are frozen."
            _change(
                study,
                lambda now: _with_reactions(now, safety.record_reaction(now.table("reactions"), **facts)),
                done,
                facts["who"],
            )


def _settle_form(study: StudyInUse) -> None:
    waiting = list(safety.unsettled_reactions(study.study)["reaction"].unique())
    if not waiting:
        return
    with st.form("settle"):
        first, second, third = st.columns(3)
        number = str(first.selectbox("Reaction", waiting))
        facts = {
            "who": second.text_input("Who settles it") or "",
            "when": third.text_input("When", date.today().isoformat()) or "",
            "action": st.text_input("What was concluded") or "",
            "document": st.text_input("Document about it") or "",
        }
        if st.form_submit_button("Settle it"):
            _change(
                study,
                lambda now: _with_reactions(now, safety.settle_reaction(now.table("reactions"), number, **facts)),
                "The reaction is settled.",
                facts["who"],
            )


def _with_reactions(study: Study, known: pd.DataFrame) -> Study:
    return replace(study, tables={**study.tables, "reactions": known})


def _change(study: StudyInUse, change: Callable[[Study], Study], done: str, who: str) -> None:
    """Save a change, let the ballots follow, and start the page again; or say what is missing."""
    widgets.keep_and_tell(study, change, done, who=who, after=_after_safety_change)


def show(study: StudyInUse) -> None:
    """Show what is missing to open the ballots and who must sign it; let sign-offs and reactions be written down."""
    today = now().astimezone().date().isoformat()
    gate = widgets.attempt(safety.safety_gate, study.study, today)
    if gate is None:
        return
    told = _gate_told(study, gate, today)
    if gate.batches.empty:
        study.lacking.append(lambda demo: _gate_told(demo, safety.safety_gate(demo.study, today), today))
    widgets.show(told)
    if len(gate.batches) and gate.batches["open"].all():
        go("ballots", "Hand out the ballots")
    if len(gate.batches):
        with st.expander("Checklist of a batch"):
            batch = st.selectbox("Batch", list(gate.batches["batch"]), key=study.choice("checked batch"))
            widgets.show_items([checklist(str(batch))], told)
    with st.expander("Record a sign-off"):
        st.markdown("About a document that a qualified person signed. Nothing is approved here.")
        _sign_off_form(study)
    _on_the_skin(study, told)


def _gate_told(study: StudyInUse, gate: safety.SafetyGate, today: str) -> Told:
    return tell_gate(gate, naming(study.study), readiness(study.study, today), today)


def _on_the_skin(study: StudyInUse, told: Told) -> None:
    """Show the reactions on record, and let one be written down or settled."""
    widgets.heading("Adverse reactions")
    known = study.study.table("reactions")
    st.markdown(f"**{widgets.plain(safety.when_to_stop())}**" + (" No reaction is on record." if known.empty else ""))
    if len(known):
        widgets.show_items([Shown(REACTIONS, known, told.names)], told)
        st.caption(widgets.plain(WHO_MAY_SEE))
    with st.expander("Write down a reaction"):
        _reaction_form(study)
    if len(safety.unsettled_reactions(study.study)):
        with st.expander("Settle a reaction"):
            _settle_form(study)


def _after_safety_change(study: StudyInUse) -> str:
    """Open or close the ballots that are prepared, as the gate of the study says now; return a sentence about it."""
    try:
        return "" if study.folder is None else tell_ballots(study.folder)
    except PanelError as error:
        return f"The ballots could not be told: {error}"
