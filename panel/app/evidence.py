"""Beyond the swaps: how far the evidence carries, rung by rung, and how each blend spreads."""

from __future__ import annotations

import streamlit as st

from panel.app import cached_blends
from panel.app.state import StudyInUse
from panel.app.widgets import attempt, heading, picture, plain, say, table
from panel.models.emollients.descriptors import BlendDescriptors
from panel.views.drawing.naming import Naming
from panel.views.emollients.ladder_tables import ladder_table, links_table, prediction_table
from panel.views.emollients.ladder_words import ladder_headline, verdict_sentences, what_the_ladder_cannot_show
from panel.views.emollients.spreading_pictures import cascade_alt_text, cascade_figure, cascade_sentences, cascade_svg


def evidence(study: StudyInUse, names: Naming) -> None:
    """Show how far the differences can be traced beyond the swaps, and where the data stop."""
    heading("How far the evidence carries")
    ladder = attempt(cached_blends.ladder, study.key, study.study)
    if ladder is None:
        return
    st.markdown(f"**{plain(ladder_headline(ladder))}**")
    say(verdict_sentences(ladder, names))
    with st.expander("Rung by rung: what each adds, and what it cannot say"):
        table(ladder_table(ladder, names), name="ladder", alt="The rungs in words", full=ladder.verdicts)
    with st.expander("The numbers behind it"):
        if ladder.links is not None:
            table(links_table(ladder, names), name="links", alt="One property at a time", full=ladder.links.links)
        if len(ladder.prediction):
            table(prediction_table(ladder, names), name="prediction", alt="Left-out prediction", full=ladder.prediction)
        say([ladder.method, *ladder.notes, *what_the_ladder_cannot_show()])


def cascade(described: BlendDescriptors, names: Naming) -> None:
    """Show the spreading cascade of each blend, with the trap of the liquids."""
    heading("How each blend spreads")
    say(cascade_sentences(described, names))
    picture(
        cascade_svg(described, names),
        lambda: cascade_figure(described, names),
        name="cascade",
        alt=cascade_alt_text(described, names),
    )
