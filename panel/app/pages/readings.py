"""Page: what do the instruments say beside the panel?"""

from __future__ import annotations

import streamlit as st

from panel.app import cached
from panel.app.widgets import ask, close, heading, how_computed, page, picture, say, table
from panel.models.emollients.readings import JoinedReadings
from panel.study.naming import Naming, naming
from panel.views.emollients.curves import (
    flow_alt_text,
    flow_figure,
    flow_models_table,
    flow_sentences,
    flow_svg,
    flow_table,
    force_alt_text,
    force_figure,
    force_sentences,
    force_svg,
    force_table,
    viscosities_table,
    what_curves_cannot_show,
)
from panel.views.emollients.readings import (
    joint_map_alt_text,
    joint_map_figure,
    joint_map_sentences,
    joint_map_svg,
    partner_alt_text,
    partner_figure,
    partner_sentences,
    partner_svg,
    partners_table,
    reading_swap_sentences,
    reading_swaps_table,
    readings_table,
    screening_sentences,
    screening_table,
    what_readings_cannot_show,
)

study = page("Readings")
names = naming(study.study)


def measured_curves() -> None:
    """Show what the measured curves come down to."""
    found = ask(cached.curves, study.key, study.study)
    heading("Measured curves")
    if len(found.flow.parameters):
        say(flow_sentences(found))
        picture(flow_svg(found), lambda: flow_figure(found), name="flow", alt=flow_alt_text(found))
        table(flow_table(found), name="flow", alt="Parameters of the flow curves")
        with st.expander("Models compared, and viscosities at rates that matter"):
            table(flow_models_table(found), name="flow_models", alt="Flow models compared")
            table(viscosities_table(found), name="viscosities", alt="Apparent viscosities")
    if len(found.force.quantities):
        say(force_sentences(found))
        picture(force_svg(found), lambda: force_figure(found), name="force", alt=force_alt_text(found))
        table(force_table(found), name="force", alt="Quantities of the force curves")
    with st.expander("How the curves were reduced"):
        say([found.method, *found.notes, *what_curves_cannot_show()])


def together(result: JoinedReadings, names: Naming) -> None:
    """Show the pairs declared beforehand, then the screening list and the joint map."""
    if len(result.partners):
        picture(
            partner_svg(result, names),
            lambda: partner_figure(result, names),
            name="partners",
            alt=partner_alt_text(result, names),
        )
        table(partners_table(result, names), name="partners", alt="Declared pairs", full=result.partners)
    heading("All other pairs")
    say(screening_sentences(result, names))
    with st.expander("The list"):
        table(screening_table(result, names), name="screening", alt="All other pairs", full=result.screening)
    if result.map is not None:
        joint = result.map
        heading("Panel and instruments on one map")
        say(joint_map_sentences(joint))
        picture(
            joint_map_svg(joint, names),
            lambda: joint_map_figure(joint, names),
            name="joint_map",
            alt=joint_map_alt_text(joint),
        )


if study.study.table("readings").empty and study.study.table("curves").empty:
    st.markdown(
        "The study has no readings. Add the table readings (prototype, measure, unit, value) or curves "
        "(prototype, kind, x, x_unit, y, y_unit) to its folder, then open it again on the page Study."
    )
    close()
    st.stop()
if len(study.study.table("curves")):
    measured_curves()
result = ask(cached.readings, study.key, study.study)
say(partner_sentences(result, names))
together(result, names)
heading("What the swaps did to the readings")
say(reading_swap_sentences(result))
with st.expander("Tables of readings"):
    table(readings_table(result), name="readings", alt="Mean reading of each prototype", full=result.means)
    table(reading_swaps_table(result), name="reading_swaps", alt="Swap effects on readings", full=result.swaps)
how_computed(result.method, result.notes, what_readings_cannot_show())
close()
