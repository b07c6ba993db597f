"""Place People: whom to talk to and about what, and what would change without one of them?"""

from __future__ import annotations

from functools import partial

import streamlit as st

from panel.answers import LEFT_OUT, PANEL, SCALE_USE
from panel.app import widgets
from panel.app.state import StudyInUse
from panel.models.assessors.performance import Action, PanelCheck
from panel.views.assessors.people import differences_without, person_items, tell_people
from panel.views.prototypes.other_ways import tell_scale_use
from panel.views.told import Told


def show(study: StudyInUse) -> None:
    """Show whom to talk to about what, then one person, and what use of the scale or leaving somebody out changes."""
    told = widgets.attempt(study.told, tell_people, PANEL)
    if told is None:
        return
    widgets.show(told)
    widgets.drawer("One assessor", partial(_one_person, study, told.result, told))
    widgets.drawer("Use of the scale", partial(_scale_use, study))
    widgets.drawer("Differences from the benchmark, with and without each assessor", partial(_without, study, told))


def _scale_use(study: StudyInUse) -> None:
    beside = widgets.attempt(study.told, tell_scale_use, SCALE_USE)
    if beside is not None:
        widgets.show_items([beside.headline, *beside.drawers[0].items, beside.result.method, *beside.cannot], beside)


def _one_person(study: StudyInUse, result: PanelCheck, told: Told) -> None:
    """Show one assessor against the others: slopes, and the means on one attribute."""
    people = [str(name) for name in result.people["assessor"]]
    gravest = result.people["judgement"].map(list(Action).index).to_numpy().argmax()
    who = st.selectbox("Assessor", people, int(gravest), key=study.choice("assessor"), persist_state="session")
    attributes = list(result.assessors.loc[result.assessors["assessor"] == who, "attribute"])
    told_of = result.patterns.loc[result.patterns["assessor"] == who, "attribute"]
    first = next((attributes.index(name) for name in told_of if name in attributes), 0)
    attribute = st.selectbox("Attribute", attributes, first, format_func=told.names.attribute)
    widgets.show_items(person_items(result, told.names, who, attribute), told)


def _without(study: StudyInUse, told: Told) -> None:
    """Show the differences from the benchmark with everybody and without one person."""
    found = widgets.attempt(study.answer, LEFT_OUT)
    if found is None:
        return
    if found.differences.empty:
        st.markdown("No benchmark was set, so there are no differences from one.")
        return
    who = st.selectbox("Without", [name for name in dict.fromkeys(found.differences["assessor"]) if name])
    widgets.show_items([differences_without(str(who))], Told(found, told.names, ""))
    st.caption(widgets.plain(found.method))
