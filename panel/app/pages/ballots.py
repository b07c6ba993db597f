"""Page: how do assessors answer, how far are they, and how does a session end?"""

from __future__ import annotations

import itertools
from functools import partial
from pathlib import Path

import streamlit as st

from panel.app.ballot_forms import board, cleared, interventions, key, links, lock, print_paper, serving_form, typing
from panel.app.places import go
from panel.app.state import StudyInUse, leave_message, use_path
from panel.app.widgets import act_and_tell, attempt, drawer, heading, headline, plain, say
from panel.ballots.rehearsal import rehearse_into
from panel.plan.protocol import conflicts, people
from panel.store.ballot import BallotRecord, ballot_record, prepare_ballots
from panel.store.preparing import safety_signed
from panel.study.naming import naming
from panel.study.safe_write import place_warning
from panel.study.study import is_rehearsed
from panel.words import counted

_NO_FOLDER = (
    "Ballots on phones need a study folder that can be written to on this computer. Save a copy of this study as a "
    "folder on the page Study; then links can be handed out here. Ballots on paper can be printed now."
)
_ALL_LOCKED = "All sessions are locked: their scores are in the study, and phones take nothing more."
_ANSWERED = "The ballots can be answered, on phones or on paper."
_STOPPED = "The ballots are closed: phones say that nothing is to be applied."
_NOT_CLEARED = "The safety gate is not open: do not apply anything."
_OPEN = "The safety gate is open: the ballots open once they are prepared."
_REHEARSAL_SEED = 1
_REHEARSED = "This is a rehearsal: do not apply anything."
_REHEARSAL = (
    "This study is a rehearsal: a program answered its ballots, and it stays marked as one. Real ballots belong to "
    "the study it was made from."
)
_STEPS = (
    "First: codes and questions are copied into a record of ballots, without the prototypes.",
    "Then: each assessor gets a personal link, or a page of paper for each sample.",
    "Last: the session is locked, and its scores are written into this study.",
)


def show(study: StudyInUse) -> None:
    """Show how assessors answer, how far they are, and how a session ends."""
    folder = study.folder
    if is_rehearsed(study.study):
        _paper_only(study, _REHEARSAL, _REHEARSED)
    elif folder is None:
        _paper_only(study, _NO_FOLDER)
    elif study.study.table("servings").empty:
        serving_form(study)
    else:
        attempt(_of_folder, study, folder)


def _rehearsal(study: StudyInUse, folder: Path) -> None:
    """Let a program answer every ballot in a copy of the study, and use that copy."""
    st.markdown("A program answers every ballot through the real server, in a copy that is marked as a rehearsal.")
    if st.button("Rehearse it"):
        places = (folder.with_name(f"{folder.name}_rehearsal_{number}") for number in itertools.count(1))
        copy = next(place for place in places if not place.exists())
        with st.spinner("Answering the ballots ..."):
            done = attempt(rehearse_into, study.study, copy, _REHEARSAL_SEED)
        if done is not None:
            use_path(str(copy))
            leave_message(f"{counted(len(done[0].servings), 'serving')} answered and locked, in a copy: {copy}.")
            st.rerun()


def _of_folder(study: StudyInUse, folder: Path) -> None:
    """Show the ballots of a study folder, or how to prepare them."""
    drawer("Rehearse it first", partial(_rehearsal, study, folder))
    with ballot_record(folder) as found:
        if found is not None:
            attempt(prepare_ballots, folder, study.study)
            _collecting(study, found)
            return
    headline("The ballots are not prepared yet.")
    if cleared(study.study):
        st.markdown(_OPEN)
    else:
        st.markdown("Phones can use them once the safety gate is open, which it is not yet.")
        go("safety", "Sign the safety gate")
    with st.expander("What happens when they are prepared"):
        say(_STEPS, first=("First", "Then", "Last"))
    warning = place_warning(folder)
    if warning:
        st.warning(plain(warning), icon=":material/info:")
    if st.button("Prepare the ballots", type="primary"):
        act_and_tell(lambda: prepare_ballots(folder, study.study), lambda said: f"The ballots are prepared. {said}")


def _paper_only(study: StudyInUse, words: str, stamp: str = "") -> None:
    """Say why there are no phone ballots here, and offer what can be printed; a stamp stands on every page."""
    first, _, rest = words.partition(". ")
    headline(f"{first}.")
    st.markdown(plain(rest))
    served = study.study.table("servings")
    sessions = [name for name in served.loc[served["code"] != "", "session"].unique() if name]
    if sessions:
        heading("Ballots on paper")
        session = str(st.selectbox("Session", sessions))
        print_paper(study, session, stamp=stamp or ("" if cleared(study.study, session) else _NOT_CLEARED))


def _collecting(study: StudyInUse, record: BallotRecord) -> None:
    """Show everything about one session."""
    opened = safety_signed(record.store, record.collection)
    still = [name for name, moment in record.locked.items() if not moment]
    headline(_ALL_LOCKED if not still else _ANSWERED if opened else _STOPPED)
    if not still:
        go("differences", "Which prototypes differ?")
    elif not opened:
        go("safety", "Why they are closed")
    found = conflicts(people(study.study), study.study.table("servings"))  # a warning, nothing is forbidden
    say([f"{row['person']} {row['what']}. {row['advice']}" for row in found.to_dict("records")])
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
        print_paper(study, session, stamp="" if opened else _NOT_CLEARED)
        typing(study, record, session, naming(study.study))
    with ending:
        lock(study, record, session)
        key(study, record)
