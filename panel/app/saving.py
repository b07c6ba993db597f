"""Taking the study away: as a folder on this computer, as zip or as workbook."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import streamlit as st

from panel.app.file_names import file_name
from panel.app.state import StudyInUse, demo_folder, leave_message, use_path
from panel.app.widgets import plain
from panel.errors import PanelError, StudyError
from panel.study.folder import write_study
from panel.study.workbook import workbook_bytes
from panel.study.zip_file import zip_bytes

_WORKBOOK = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


def save_form(study: StudyInUse) -> None:
    """Let the user save the study as a folder, or download it."""
    with st.form("save a copy"):
        path = st.text_input("Save as a study folder", placeholder="path of a new folder on this computer")
        replace = st.checkbox("If a study is there already, replace it")
        if st.form_submit_button("Save"):
            _save(study, path or "", replace=replace)
    name = file_name(study)
    with st.container(horizontal=True):
        _download("Study as zip", lambda: zip_bytes(study.study), f"{name}.zip", "application/zip")
        _download("Study as workbook", lambda: workbook_bytes(study.study), f"{name}.xlsx", _WORKBOOK)


def _download(label: str, content: Callable[[], bytes], name: str, kind: str) -> None:
    st.download_button(label, content, name, kind, on_click="ignore", icon=":material/download:")


def _save(study: StudyInUse, text: str, *, replace: bool) -> None:
    if not text.strip():
        st.warning("Write the path of a folder first.", icon=":material/info:")
        return
    folder = Path(text.strip().strip('"')).expanduser()
    try:
        if folder.resolve() == demo_folder():
            raise StudyError("The demo stays as it is. Choose another folder.")
        write_study(study.study, folder, overwrite=replace)
        use_path(str(folder))
    except PanelError as error:
        st.warning(plain(error), icon=":material/info:")
        return
    leave_message(f"Saved. The study in {folder} is in use.")
    st.rerun()
