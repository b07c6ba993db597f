"""Opening a study: the demo, one on this computer, one uploaded, or a table of scores to import."""

from __future__ import annotations

from collections.abc import Callable

import streamlit as st

from panel.app.import_form import import_form
from panel.app.state import leave_message, times_opened, use_bytes, use_demo, use_path
from panel.app.widgets import plain
from panel.errors import PanelError

DEMO, PATH, UPLOAD, IMPORT = "The demo", "A study on this computer", "Upload a study", "Import a table of scores"


def choose_study() -> None:
    """Let the user open another study."""
    ways = [DEMO, PATH, UPLOAD, IMPORT]
    way = st.radio("What to open", ways, index=None, horizontal=True, key=f"way to open {times_opened()}")
    if way == DEMO:
        st.markdown("An invented study: eight prototypes of a hand cream, every combination of three emollient swaps.")
        if st.button("Open the demo"):
            _open(use_demo, "The demo is in use.")
    elif way == PATH:
        path = st.text_input("Path of a study folder, workbook (.xlsx) or zip", key="path to open")
        if st.button("Open this study"):
            _open(lambda: use_path(path or ""), "This study is in use.")
    elif way == UPLOAD:
        file = st.file_uploader("Study as zip or workbook", type=["zip", "xlsx"], key="study upload")
        if file is not None and st.button("Use the uploaded study"):
            _open(lambda: use_bytes(file.name, file.getvalue()), "The uploaded study is in use.")
    elif way == IMPORT:
        import_form()


def _open(action: Callable[[], None], done: str) -> None:
    """Open a study and start the page again with it; say why not if it cannot be opened."""
    try:
        action()
    except PanelError as error:
        st.warning(plain(error), icon=":material/info:")
        return
    leave_message(done)
    st.rerun()
