"""Part: what will a reviewer find in the evidence file, what is missing in it, and where does a number come from?"""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import pandas as pd
import streamlit as st

from panel.answers import Answers
from panel.app.guide import EDITORS, fill
from panel.app.places import PARTS, go
from panel.app.state import StudyInUse
from panel.app.widgets import attempt, download, file_name, headline, plain, say, table
from panel.report.archive import FORMS, archive_bytes, writer_of
from panel.report.contents.blocks import Report
from panel.report.contents.evidence import mended_at, report_of
from panel.report.trace import why
from panel.views.decision.claims import gap_lines, trace_lines, what_is_behind

_EXAMPLE = "such as D12, or D-AF_GREASE-P4-P1-estimate"
_MOST_ROWS = 200


def _downloads(study: StudyInUse, report: Report) -> None:
    """Offer the file in four forms and the archive; each is made when it is asked for."""
    name = file_name(study)
    with st.container(horizontal=True):
        for ending in FORMS:
            label, file = f"Evidence file, {ending[1:].upper()}", f"{name}_evidence{ending}"
            download(label, partial(_form, study.key, ending, report), file)
    words = " · ".join(f"{ending[1:].upper()}: {words}" for ending, words in FORMS.items())
    st.caption(plain(f"{words}. Each is made when you ask for it, which takes some seconds."))
    make = partial(_archive, study.key, study.answers, report)
    download("Archive of the study, ZIP", make, f"{name}_archive.zip")
    st.caption("The archive holds the study, the evidence file in all four forms and checksums. It opens anywhere.")


@st.cache_resource(max_entries=4, show_spinner="Putting the evidence together (some seconds) ...")
def _report(content_hash: str, _answers: Answers) -> Report:
    return report_of(_answers)


@st.cache_data(max_entries=8, show_spinner="Writing the evidence file ...")
def _form(content_hash: str, ending: str, _report: Report) -> bytes:
    return writer_of(f"evidence{ending}")(_report)


@st.cache_data(max_entries=4, show_spinner="Packing the archive ...")
def _archive(content_hash: str, _answers: Answers, _report: Report) -> bytes:
    return archive_bytes(_answers, _report)


def _gaps(gaps: Sequence[str], places: Sequence[tuple[str, str]]) -> None:
    """Show the gaps, those mended at one place together, with the way there, else with the command."""
    for opened in dict.fromkeys(opened for opened, _ in places):
        own = [(gap, command) for gap, (place, command) in zip(gaps, places, strict=True) if place == opened]
        say([gap if opened else f"{gap} ({command})" for gap, command in own])
        if opened in EDITORS:
            if st.button(f"Open {EDITORS[opened]}", key=f"gap {opened}", type="tertiary", icon=":material/edit:"):
                fill(opened)
        elif opened:
            go(opened, PARTS[opened][1].title)


def _look_up(study: StudyInUse) -> None:
    number_id = st.text_input("Id of the number", placeholder=_EXAMPLE, key=study.choice("number id"))
    if not number_id:
        st.caption("Each row on paper carries a short id, such as D12. It stands for the first number of the row.")
        return
    found = attempt(why, study.study, number_id, answers=study.answers)
    if found is None:
        return
    head, *lines = trace_lines(found.number_id, found.value, found.table, found.column, found.method)
    st.markdown(f"**{plain(head)}**")
    say(lines)
    for place, rows in enumerate(found.rows):
        st.markdown(plain(what_is_behind(rows)))
        if len(rows):
            table(rows.head(_MOST_ROWS), name=f"behind_{place}", alt="Rows of the study behind the number", full=rows)


def show(study: StudyInUse) -> None:
    """Show what the evidence file lacks, offer it, and say where its numbers come from."""
    report = _report(study.key, study.answers)
    named = ((section.number, section.heading, gap) for section, gap in report.gaps())
    told, *gaps = gap_lines(named, len(report.sections))
    headline(told)
    if report.mark:
        st.caption(plain(f"{report.mark}. It stands on every page."))
    _downloads(study, report)
    if gaps:
        with st.expander("What is missing"):
            _gaps(gaps, [mended_at(section.number, gap) for section, gap in report.gaps()])
    with st.expander("What is in it"):
        parts = [(section.number or "–", section.heading, len(section.gaps)) for section in report.all_sections]
        table(pd.DataFrame(parts, columns=["Part", "Heading", "Gaps"]), name="parts", alt="Parts of the evidence file")
        st.caption(plain(f"SHA-256 of the data, on every page: {report.data_hash}"))
    with st.expander("Where does a number come from?"):
        _look_up(study)
