"""Part: who changed what in this study, and when? The last change can be taken back where that is safe."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import streamlit as st

from panel.app.state import StudyInUse, leave_message
from panel.app.widgets import ask, attempt, headline, plain, say, table
from panel.errors import PanelError
from panel.study.saving import journal_faults, journal_rows, last_change, undo
from panel.views.planning.study import changed_rows_table, history_table, what_changed

_NO_FOLDER = (
    "A history is kept with a study folder. Save a copy of this study as a folder on the page Study; each change is "
    "written down from then on."
)
_MOST_ROWS = 500  # shown; the download has all


def show(study: StudyInUse) -> None:
    """Show who changed what, what stood before and after, and let the last change be taken back."""
    if study.folder is None:
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
