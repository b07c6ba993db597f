"""Correcting a score, or setting it aside, with a name and a reason; the score itself stays in the study."""

from __future__ import annotations

import streamlit as st

from panel.app.state import StudyInUse, leave_message, moment, use_study
from panel.app.widgets import plain
from panel.errors import PanelError
from panel.study.corrections import PLACE_COLUMNS, with_correction
from panel.study.folder import write_study
from panel.views.drawing.naming import Naming

_LABELS = {
    "assessor": "Assessor",
    "session": "Session",
    "replicate": "Replicate",
    "prototype": "Prototype",
    "attribute": "Attribute",
}


def correction_form(study: StudyInUse, names: Naming) -> None:
    """Let the user write one correction."""
    scores = study.study.scores
    with st.form("correction", clear_on_submit=False):
        asked = [column for column in PLACE_COLUMNS if (scores[column] != "").any()]
        columns = st.columns(len(asked))
        place = {}
        for column, box in zip(asked, columns, strict=True):
            given = list(dict.fromkeys(name for name in scores[column] if name))
            words = names.attribute if column == "attribute" else names.prototype if column == "prototype" else str
            place[column] = str(box.selectbox(_LABELS[column], given, format_func=words, key=f"correct {column}"))
        left, middle, right = st.columns([1, 1, 2])
        new = left.text_input("New score", help="7.5 and 7,5 are both read. Leave it empty to set the score aside.")
        who = middle.text_input("Who corrects it")
        why = right.text_input("Why", placeholder="such as: the ballot says 33.0")
        to_disk = study.folder is not None and st.checkbox(f"Also write it into {study.folder}")
        if st.form_submit_button("Write the correction"):
            _write(study, place, {"new": new or "", "who": who or "", "why": why or ""}, to_disk=to_disk)


def _write(study: StudyInUse, place: dict[str, str], words: dict[str, str], *, to_disk: bool) -> None:
    """Add the correction to the study in use, and to its folder if that was asked for."""
    try:
        corrected = with_correction(study.study, place, when=moment(), **words)
        if to_disk and study.folder is not None:
            write_study(corrected, study.folder, overwrite=True)
        else:
            use_study(study.handle.name, corrected)
    except PanelError as error:
        st.warning(plain(error), icon=":material/info:")
        return
    where = f"It is saved in {study.folder}." if to_disk else "It is not saved yet: save a copy below."
    leave_message(f"The correction is written; the score itself stays in the study. {where}")
    st.rerun()
