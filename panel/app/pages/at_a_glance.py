"""Part: the whole job at a glance."""

from __future__ import annotations

from typing import Any

import streamlit as st

from panel.app.places import go, leave_for
from panel.app.state import StudyInUse
from panel.app.study_editors import open_editor, place_of
from panel.app.widgets import heading, headline, plain, say, show_picture
from panel.checks.finding import Finding
from panel.views.glance import Glance, in_short, tell_glance

_WAIT = "Putting the answer together ..."


def show(study: StudyInUse) -> None:
    """Show what came out, what to settle first, how near to the target, what may be said, what next."""
    with st.spinner(_WAIT):
        told = _told(study.key, study)
    headline(told.headline)
    st.caption(plain(told.about))
    if told.picture is not None:
        show_picture(told.picture)
    _four(told)


def _mend(finding: Finding) -> None:
    """Open the editor that mends a finding; what the study holds where there is none."""
    place = place_of(finding)
    if place is not None:
        open_editor(*place)
    leave_for("edit" if place else "study")


@st.cache_resource(max_entries=4, show_spinner=False)
def _told(content_hash: str, _study: Any) -> Glance:
    """Return what is said of a study; the hash of its content is the key."""
    return tell_glance(_study.answers)


def _four(told: Glance) -> None:
    """Show side by side: what to settle, the leaders against the targets, what may be said, what to do next."""
    settle, near, said, following = st.columns(4, gap="large")
    with settle:
        heading("Settle first")
        for number, finding in enumerate(told.settle):
            st.markdown(plain(in_short(finding)), help=plain(f"{finding.message} {finding.advice}"))
            if st.button("Settle it", key=f"settle {number}", type="tertiary", icon=":material/edit:"):
                _mend(finding)
        if not told.settle:
            st.markdown("Nothing was found that could mislead.")
    with near:
        heading("Against the target")
        say(told.leaders or ("No targets are written down for this study.",))
        go("decide" if told.leaders else "edit", "All targets" if told.leaders else "Write them down")
    with said:
        heading("May be said")
        say((*told.may, *([told.may_not] if told.may_not else [])))
        go("claims", "All sentences")
    with following:
        heading("Next")
        st.markdown(plain(told.step))
        go(told.step_part, "Go on")
