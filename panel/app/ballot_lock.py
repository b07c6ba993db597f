"""The end of a session: locking it, which writes the scores, and opening the key, which is written down."""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

from panel.app.state import StudyInUse, leave_message, moment
from panel.app.study_writing import keep
from panel.app.widgets import heading, plain, say, table
from panel.errors import PanelError, StudyError
from panel.plan.key import no_openings, note_opening
from panel.plan.roles import conflicts, people
from panel.store.ballot_record import BallotRecord
from panel.store.board import board_of_servings
from panel.store.lock import lock_session
from panel.store.moments import local, now
from panel.study.study import Study
from panel.views.drawing.formats import format_list
from panel.views.planning.board_tables import what_locking_did, what_locking_leaves_out


def lock(study: StudyInUse, record: BallotRecord, session: str) -> None:
    """Let a session be closed for good and its scores be written into the study."""
    heading(f"Lock session {session}")
    if record.locked[session]:
        st.markdown(
            f"Session {plain(session)} was locked on {plain(local(record.locked[session]))}. "
            "Nothing is added to it any more."
        )
        return
    st.markdown(
        "Locking closes the record of the session for good, seals it with its SHA-256, and writes its scores into the "
        "study, each under its prototype."
    )
    missing = what_locking_leaves_out(board_of_servings(record.store, record.collection, session))
    if missing:
        say(missing)
    with st.form(f"lock {session}"):
        who = st.text_input("Who locks it")
        sure = st.checkbox("Lock it, with what is missing" if missing else "Lock it for good")
        if st.form_submit_button("Lock the session"):
            _lock(study, record, session, who or "", sure=sure)


def _lock(study: StudyInUse, record: BallotRecord, session: str, who: str, *, sure: bool) -> None:
    try:
        if study.folder is None or not sure:
            raise StudyError("Tick that the session is to be locked for good.")
        done = lock_session(record.store, record.collection, session, study.folder, who=who, at=now())
    except PanelError as error:
        st.warning(plain(error), icon=":material/info:")
        return
    leave_message(
        f"{what_locking_did(session, done.scores, done.cannot_judge)} Seal {done.events_sha256[:12]}. The page "
        "Differences shows them."
    )
    st.rerun()


def roles(study: Study) -> list[str]:
    """Return what does not go together among the people of a study; a warning, nothing is forbidden."""
    found = conflicts(people(study), study.table("servings"))
    return [f"{row['person']} {row['what']}. {row['advice']}" for row in found.to_dict("records")]


def key(study: StudyInUse, record: BallotRecord) -> None:
    """Let somebody open the key, after the lock or in an emergency, and write it down first."""
    heading("Open the key")
    closed = [session for session, moment in record.locked.items() if not moment]
    st.markdown(
        f"Not locked yet: {'session' if len(closed) == 1 else 'sessions'} {plain(format_list(closed))}. "
        "Open a code only in an emergency; that is noted."
        if closed
        else "All sessions are locked. Whoever opens the key is written down."
    )
    with st.form("open the key"):
        left, middle, right = st.columns(3)
        session = str(left.selectbox("Session", list(record.locked)))
        code = (middle.text_input("Code (empty: all codes of the session)") or "").strip()
        who = right.text_input("Who opens it") or ""
        why = (
            st.text_input("For which reason", placeholder="such as: analysis after the lock; or: reaction of A03") or ""
        )
        asked = st.form_submit_button("Write it down and open")
    if asked:
        _open(study, record.locked, session, code, who, why)
    past = study.study.tables.get("unblindings")
    if past is not None and len(past):
        shown = past[["when", "who", "what", "why", "locked"]]
        shown.columns = ["When", "Who", "What", "Why", "After the lock"]
        with st.expander(f"Openings so far ({len(past)})"):
            table(shown, name="unblindings", alt="Who opened the key, and why", full=past)


def _open(study: StudyInUse, locked: dict[str, str], session: str, code: str, who: str, why: str) -> None:
    """Note the opening, then show what stands behind the codes."""
    plan = study.study.table("servings")
    rows = plan.loc[(plan["session"] == session) & ((plan["code"] == code) | (code == ""))]
    try:
        if rows.empty:
            raise StudyError(f"Session {session} has no code {code}.")
        before = study.study.tables.get("unblindings", no_openings())
        what = f"session {session}, {f'code {code}' if code else 'all codes'}"
        noted = note_opening(before, when=moment(), who=who, why=why, what=what, locked_at=locked[session])
        saved = keep(study, replace(study.study, tables={**study.study.tables, "unblindings": noted}))
    except PanelError as error:
        st.warning(plain(error), icon=":material/info:")
        return
    st.success(plain(f"It is written down. {saved}"), icon=":material/check:")
    shown = rows[["code", "prototype"]].drop_duplicates().rename(columns={"code": "Code", "prototype": "Prototype"})
    table(shown, name=f"key_{session}", alt="What stands behind the codes")
