"""Page: what is in the study, and what to settle before trusting it?"""

from __future__ import annotations

import streamlit as st

from panel.app import cached
from panel.app.correction_form import correction_form
from panel.app.saving import save_form
from panel.app.study_choice import choose_study
from panel.app.study_parts import batches, changed_scores, findings_by_severity, formulas, general_cautions
from panel.app.widgets import ask, close, heading, page, plain
from panel.views.drawing.naming import naming
from panel.views.planning.study_words import what_is_in_the_study, what_the_findings_say

study = page("Study", otherwise=choose_study)
names = naming(study.study)
found = ask(cached.findings, study.key, study.study)
st.markdown(f"**{plain(what_is_in_the_study(study.study))}** {plain(what_the_findings_say(found))}")
purpose = str(study.study.facts.get("purpose") or "")
if purpose:
    st.markdown(plain(purpose))
with st.expander("Open another study, or import a table of scores", icon=":material/folder_open:"):
    choose_study()

heading("Before you trust it")
findings_by_severity(found)
heading("Formulas")
formulas(study, names)
heading("Batches")
batches(study)
heading("Scores set aside or corrected")
changed_scores(study, names)
if len(study.study.scores):
    with st.expander("Correct a score, or set it aside"):
        correction_form(study, names)
with st.expander("Save a copy of the study"):
    save_form(study)
heading("Before anybody applies a sample")
general_cautions()
close()
