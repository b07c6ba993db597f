"""The live board: who has answered what, who reported a reaction, and stopping the ballots."""

from __future__ import annotations

import streamlit as st

from panel.app.state import StudyInUse, leave_message
from panel.app.widgets import heading, plain, table
from panel.errors import PanelError
from panel.plan.reactions import when_to_stop
from panel.store.ballot_record import BallotRecord, ballot_record
from panel.store.board import board_of_assessors, board_of_servings, reactions_table
from panel.store.events import let_go_on
from panel.store.moments import now
from panel.store.safety import follow_gate, stop_ballots, stopped_by
from panel.views.planning.board_tables import progress_table, samples_table, who_has_answered

SECONDS = 5
"""How often the board looks again."""


@st.fragment(run_every=SECONDS)
def board(study: StudyInUse, session: str) -> None:
    """Show how far a session has come, again and again."""
    if study.folder is None:
        return
    try:
        with ballot_record(study.folder) as record:
            if record is not None:
                _counts(record, session)
    except PanelError as error:
        st.warning(plain(error), icon=":material/info:")


def _counts(record: BallotRecord, session: str) -> None:
    people = board_of_assessors(record.store, record.collection, session)
    samples = board_of_servings(record.store, record.collection, session)
    st.markdown(f"**{plain(who_has_answered(people))}**")
    st.caption(f"Looks again every {SECONDS} seconds. It counts marks; what was marked is not shown before the lock.")
    table(progress_table(people), name="board", alt="How far each assessor has come", full=people)
    with st.expander("Sample by sample"):
        table(samples_table(samples), name="board_samples", alt="How far each sample has come", full=samples)


def interventions(study: StudyInUse, record: BallotRecord, session: str) -> None:
    """Let the leader stop all ballots, let them go on, and let somebody go on after a reaction."""
    heading("If something is wrong")
    st.markdown(plain(when_to_stop()))
    _reported(record, session)
    stopped = stopped_by(record.store, record.collection)
    if stopped:
        st.warning(f"All ballots are stopped. {plain(stopped)}", icon=":material/pan_tool:")
    with st.form("stop or go on"):
        left, right = st.columns([1, 2])
        who, why = left.text_input("Who decides it") or "", right.text_input("Why") or ""
        label = "Let the ballots go on" if stopped else "Stop all ballots now"
        if st.form_submit_button(label):
            try:
                done = _go_on(study, record, who, why) if stopped else _stop(record, who, why)
            except PanelError as error:
                st.warning(plain(error), icon=":material/info:")
                return
            leave_message(done)
            st.rerun()


def _stop(record: BallotRecord, who: str, why: str) -> str:
    stop_ballots(record.store, record.collection, who=who, why=why, at=now())
    return "All ballots are stopped. Phones show that nothing is to be applied."


def _go_on(study: StudyInUse, record: BallotRecord, who: str, why: str) -> str:
    if not who.strip():
        return "Nothing was changed: write who decides it."
    return follow_gate(record.store, record.collection, study.study, at=now(), who=who, why=why)


def _reported(record: BallotRecord, session: str) -> None:
    """Show the reactions that were reported on phones, and let somebody go on."""
    reported = reactions_table(record.store, record.collection)
    here = reported.loc[reported["session"] == session]
    if here.empty:
        st.caption("No skin reaction was reported on a phone in this session.")
        return
    shown = here.rename(columns={"at": "When", "assessor": "Assessor", "code": "Code", "text": "What was noticed"})
    columns = ["When", "Assessor", "Code", "What was noticed"]
    table(shown[columns], name="reported", alt="Skin reactions reported on phones", full=here)
    st.caption(
        "Write each of them down on the page Safety. Until somebody lets the person go on, nobody gets that code."
    )
    with st.form("let go on"):
        left, middle, right = st.columns(3)
        assessor = left.selectbox("Assessor", list(dict.fromkeys(here["assessor"])))
        who, why = middle.text_input("Who lets this person go on"), right.text_input("Why this person may")
        if st.form_submit_button("Let this person go on"):
            place = (record.store, record.collection, session, str(assessor))
            try:
                let_go_on(*place, who=who or "", why=why or "", at=now())
            except PanelError as error:
                st.warning(plain(error), icon=":material/info:")
                return
            leave_message(f"{assessor} may go on.")
            st.rerun()
