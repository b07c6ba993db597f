"""Page: what will a reviewer find in the evidence file, what is missing in it, and where does a number come from?"""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd
import streamlit as st

from panel.app import cached
from panel.app.state import StudyInUse
from panel.app.widgets import ask, attempt, close, file_name, heading, page, picture, plain, say, table
from panel.models.emollients.descriptors import BlendDescriptors
from panel.report.archive import FORMS
from panel.report.contents.blocks import Report
from panel.study.naming import Naming
from panel.views.decision.claims import gap_lines, gaps_headline, trace_headline, trace_lines, what_is_behind
from panel.views.emollients.ladder import (
    ladder_headline,
    ladder_table,
    links_table,
    prediction_table,
    verdict_sentences,
    what_the_ladder_cannot_show,
)
from panel.views.emollients.spreading_pictures import cascade_alt_text, cascade_figure, cascade_sentences, cascade_svg

_EXAMPLE = "such as D-AF_GREASE-P4-P1-estimate"
_MOST_ROWS = 200


def downloads(study: StudyInUse, report: Report) -> None:
    """Offer the file in four forms and the archive; each is made when it is asked for."""
    heading("Take it away")
    name = file_name(study)
    with st.container(horizontal=True):
        for ending, form in FORMS.items():
            make = cached.form
            _download(
                f"Evidence file, {ending[1:].upper()}", make, study, ending, f"{name}_evidence{ending}", form.kind
            )
    words = " · ".join(f"{ending[1:].upper()}: {form.words}" for ending, form in FORMS.items())
    st.caption(plain(f"{words}. Each is made when you ask for it, which takes some seconds."))
    make = cached.archive
    _download("Archive of the study, ZIP", make, study, ".zip", f"{name}_archive.zip", "application/zip")
    st.caption("The archive holds the study, the evidence file in all four forms and checksums. It opens anywhere.")
    st.caption(plain(f"SHA-256 of the data, on every page: {report.data_hash}"))


def _download(label: str, make: Callable[..., bytes], study: StudyInUse, ending: str, name: str, kind: str) -> None:
    st.download_button(
        label,
        lambda: make(study.key, ending, study.study),
        name,
        kind,
        key=f"download {ending}",
        on_click="ignore",
        icon=":material/download:",
    )


def look_up(study: StudyInUse) -> None:
    """Let the user ask where a number comes from."""
    heading("Where does a number come from?")
    number_id = st.text_input("Id of the number", placeholder=_EXAMPLE, key=study.choice("number id"))
    if not number_id:
        st.caption("Each row of a table carries its id in small print. Add a hyphen and the name of the column.")
        return
    found = attempt(cached.trace, study.key, number_id, study.study)
    if found is None:
        return
    st.markdown(f"**{plain(trace_headline(found.number_id, found.value))}**")
    say(trace_lines(found.table, found.column, found.method))
    for place, rows in enumerate(found.rows):
        st.markdown(plain(what_is_behind(rows)))
        if len(rows):
            table(rows.head(_MOST_ROWS), name=f"behind_{place}", alt="Rows of the study behind the number", full=rows)


study = page("Evidence file")
report = ask(cached.report, study.key, study.study)
gaps = [(section.number, section.heading, gap) for section, gap in report.gaps()]
st.markdown(f"**{plain(gaps_headline(len(gaps), len(report.sections)))}**")
if report.mark:
    st.warning(plain(f"{report.mark}. It stands on every page."), icon=":material/info:")
if gaps:
    say(gap_lines(gaps))
downloads(study, report)
heading("What is in it")
parts = [(section.number or "–", section.heading, len(section.gaps)) for section in report.all_sections]
table(pd.DataFrame(parts, columns=["Part", "Heading", "Gaps"]), name="parts", alt="Parts of the evidence file")
look_up(study)
close()


# Beyond the swaps: how far the evidence carries, rung by rung, and how each blend spreads.


def evidence(study: StudyInUse, names: Naming) -> None:
    """Show how far the differences can be traced beyond the swaps, and where the data stop."""
    heading("How far the evidence carries")
    ladder = attempt(cached.ladder, study.key, study.study)
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
