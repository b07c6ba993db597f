"""Parts: who changed what in this study, and when? And what of its people may leave the house, or has to go?"""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import streamlit as st

from panel.app.state import StudyInUse, leave_message
from panel.app.widgets import ask, attempt, file_name, headline, plain, say, table
from panel.errors import PanelError
from panel.study.open_study import zip_bytes
from panel.study.people import WHO_MAY_SEE, people_in, without_people
from panel.study.saving import journal_faults, journal_rows, last_change, remove_person, undo
from panel.views.planning.study import changed_rows_table, history_table, what_changed, what_was_removed
from panel.words import counted

_NO_HISTORY = "No change is written down: a history is kept with a study folder."
_NO_FOLDER = "Save a copy of this study as a folder on the page Study; each change is written down from then on."
_MOST_ROWS = 500  # shown; the download has all


def show(study: StudyInUse) -> None:
    """Show who changed what, what stood before and after, and let the last change be taken back."""
    if study.folder is None:
        headline(_NO_HISTORY)
        st.markdown(plain(_NO_FOLDER))
        return
    rows = ask(journal_rows, study.folder)
    headline(what_changed(rows))
    faults = attempt(journal_faults, study.folder) or ()
    if faults:
        st.warning(plain(" ".join(faults)), icon=":material/warning:")
        say(["Ask who changed it, and put the journal back from a copy: what it says cannot be relied on."])
    if rows.empty:
        return
    table(history_table(rows), name="history", alt="Changes of this study, the last first", full=rows)
    with st.expander("What stood before and after"):
        _rows(rows)
    with st.expander("Take the last change back"):
        attempt(_taken_back, study.folder)


def _rows(rows: pd.DataFrame) -> None:
    shown = changed_rows_table(rows)
    table(shown.head(_MOST_ROWS), name="history_rows", alt="Rows before and after each change", full=rows)
    if len(shown) > _MOST_ROWS:
        st.caption(f"The first {_MOST_ROWS} of {len(shown)} rows; the download has all.")


def _taken_back(folder: Path) -> None:
    """Let the last change be taken back, or say why it has to stay."""
    number, stays = last_change(folder)
    if stays:
        st.markdown(plain(stays))
        return
    with st.form("take back"):
        who = st.text_input("Who takes it back") or ""
        why = st.text_input("Why") or ""
        if st.form_submit_button(f"Take change {number} back"):
            try:
                undo(folder, number, who=who, why=why)
            except PanelError as error:
                st.warning(plain(error), icon=":material/info:")
                return
            leave_message(f"Change {number} is taken back; that is written down as a change too.")
            st.rerun()


# What of its people may leave the house, or has to go?


def show_people(study: StudyInUse) -> None:
    """Offer a copy without people, and let all that is known of one person be removed."""
    people = people_in(study.study)
    headline(f"{counted(len(people), 'person', 'people')} in this study, each known by a code.")
    st.markdown(plain(WHO_MAY_SEE))
    st.download_button(
        "Study without people, as zip",
        lambda: zip_bytes(without_people(study.study)),
        f"{file_name(study)}_without_people.zip",
        "application/zip",
        on_click="ignore",
        icon=":material/download:",
    )
    st.caption(
        "New codes in a new order; without allergies, reactions by name, names of those who signed or corrected, and "
        "imported files. Analyses of scores and answers give the same results."
    )
    with st.expander("Remove what is known of one person, on request"):
        if study.folder is None:
            st.markdown("Save the study as a folder first; then a person can be removed from it.")
        else:
            _removal(study.folder, people)


def _removal(folder: Path, people: tuple[str, ...]) -> None:
    with st.form("remove a person"):
        person = st.selectbox("Person", people, index=None)
        who = st.text_input("Who removes it") or ""
        why = st.text_input("Why", placeholder="without the code: it stays") or ""
        sure = st.checkbox("Remove it; this cannot be undone, and the history begins anew")
        if st.form_submit_button("Remove"):
            if not person or not sure:
                st.warning("Choose the person, and tick that it is to be removed for good.", icon=":material/info:")
                return
            removed = attempt(remove_person, folder, str(person), who=who, why=why)
            if removed is not None:
                leave_message(" ".join(what_was_removed(removed)))
                st.rerun()
