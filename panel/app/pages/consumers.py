"""Page: what do consumers say: which do they like, is it just right, what do they tick, what do they agree with?"""

from __future__ import annotations

import streamlit as st

from panel.app.consumer_sections import agreement_section, check_all_section, just_about_right_section, liking_section
from panel.app.widgets import close, page
from panel.study.naming import naming

KINDS = {
    "liking": "Liking",
    "just_about_right": "Just about right?",
    "check_all": "Check all that apply",
    "agreement": "Agreement",
}
SECTIONS = {
    "liking": liking_section,
    "just_about_right": just_about_right_section,
    "check_all": check_all_section,
    "agreement": agreement_section,
}

study = page("Consumers")
names = naming(study.study)
asked = set(study.study.table("answers")["kind"])
present = [kind for kind in KINDS if kind in asked]
if not present:
    st.markdown(
        "This study has no answers of consumers yet. Add them to its table answers, one row for each consumer, "
        "prototype and question, with the kind liking, just_about_right, check_all or agreement; or collect them on "
        "phones on the page Ballots. Then open the study again on the page Study."
    )
else:
    chosen = st.segmented_control(
        "Question",
        present,
        default=present[0],
        required=True,
        format_func=KINDS.__getitem__,
        key=study.choice("kind of question"),
        persist_state="session",
    )
    SECTIONS[chosen or present[0]](study, names)
close()
