"""Page: how do assessors answer, how far are they, and how does a session end?"""

from __future__ import annotations

import streamlit as st

from panel.app.ballot_forms import NOT_CLEARED, board, interventions, key, links, lock, print_paper, roles, typing
from panel.app.pages.servings import serving_form
from panel.app.state import leave_message
from panel.app.widgets import attempt, close, heading, page, plain, say
from panel.errors import PanelError
from panel.plan.safety import safety_gate
from panel.store.ballot import BallotRecord, ballot_record, prepare_ballots
from panel.store.database import now
from panel.store.safety import safety_signed
from panel.study.naming import naming
from panel.study.safe_write import place_warning
from panel.study.study import is_rehearsed

NO_FOLDER = (
    "Ballots on phones need a study folder that can be written to on this computer. Save a copy of this study as a "
    "folder on the page Study; then links can be handed out here. Ballots on paper can be printed now."
)
REHEARSED = "This is a rehearsal: do not apply anything."
study = page("Ballots")
names = naming(study.study)


def end() -> None:
    """End the page here."""
    close()
    st.stop()


def paper_only(words: str, stamp: str = "") -> None:
    """Say why there are no phone ballots here, and offer what can be printed; a stamp stands on every page."""
    st.markdown(plain(words))
    served = study.study.table("servings")
    sessions = [name for name in served.loc[served["code"] != "", "session"].unique() if name]
    if sessions:
        heading("Ballots on paper")
        session = str(st.selectbox("Session", sessions))
        print_paper(study, session, stamp=stamp or unless_cleared(session))
    end()


def unless_cleared(session: str) -> str:
    """Return the warning for paper of a session, unless each prototype in it has a batch that may be applied."""
    batches = safety_gate(study.study, now().astimezone().date().isoformat()).batches
    served = study.study.table("servings")
    wanted = set(served.loc[served["session"] == session, "prototype"])
    frozen = set(batches.loc[batches["frozen"] != "", "prototype"])
    cleared = set(batches.loc[batches["open"].astype(bool), "prototype"]) - frozen
    return "" if wanted and wanted <= cleared else NOT_CLEARED


def collecting(record: BallotRecord) -> None:
    """Show everything about one session."""
    opened = safety_signed(record.store, record.collection)
    st.markdown(
        "**The ballots are open.**"
        if opened
        else "**The ballots are closed:** phones say that nothing is to be applied. See the page Safety."
    )
    say(roles(study.study))
    still = [name for name, moment in record.locked.items() if not moment]
    sessions = list(record.locked)
    first = sessions.index(still[0]) if still else 0
    session = str(st.selectbox("Session", sessions, first, key=study.choice("session")))
    phones, counts, paper, ending = st.tabs(["Links", "Board", "Paper", "Lock and key"])
    with phones:
        links(study, record, session)
    with counts:
        board(study, session)
        interventions(study, record, session)
    with paper:
        print_paper(study, session, stamp="" if opened else NOT_CLEARED)
        typing(study, record, session, names)
    with ending:
        lock(study, record, session)
        key(study, record)


if is_rehearsed(study.study):
    paper_only(
        "This study is a rehearsal: a program answered its ballots, and it stays marked as one. Real ballots belong to "
        "the study it was made from.",
        REHEARSED,
    )
if study.folder is None:
    paper_only(NO_FOLDER)
folder = study.folder
if folder is None:  # said above; the page has ended
    st.stop()
if study.study.table("servings").empty:
    serving_form(study)
    end()
try:
    with ballot_record(folder) as found:
        if found is not None:
            attempt(prepare_ballots, folder, study.study)
            collecting(found)
except PanelError as error:
    st.warning(plain(error), icon=":material/info:")
    end()
if found is None:
    say(
        [
            "First: codes and questions are copied into a record of ballots, without the prototypes.",
            "Then: each assessor gets a personal link, or a page of paper for each sample.",
            "Last: the session is locked, and its scores are written into this study.",
            "Safety: ballots stay closed until the safety gate is open for a batch of every prototype that is served. "
            "Sign-offs are recorded on the page Safety.",
        ],
        first=("First", "Then", "Last", "Safety"),
    )
    warning = place_warning(folder)
    if warning:
        st.warning(plain(warning), icon=":material/info:")
    if st.button("Prepare the ballots", type="primary"):
        said = attempt(prepare_ballots, folder, study.study)
        if said is not None:
            leave_message(f"The ballots are prepared. {said}")
            st.rerun()
close()
