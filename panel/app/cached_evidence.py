"""The evidence file, kept for as long as the study is the same (see `panel.app.cached`); forms are made on demand."""

from __future__ import annotations

import streamlit as st

from panel.report.archive import archive_bytes
from panel.report.contents.blocks import Report
from panel.report.contents.evidence import report_of
from panel.report.contents.results import Results
from panel.report.forms import FORMS
from panel.report.trace import Trace, why
from panel.study.study import Study

SEED = 1
"""Seed of everything that is drawn, so that the same study gives the same file."""


@st.cache_resource(max_entries=4, show_spinner="Putting the evidence together (some seconds) ...")
def results(content_hash: str, _study: Study) -> Results:
    """Return the results of the study; each is computed at its first use."""
    return Results(_study, SEED)


@st.cache_resource(max_entries=4, show_spinner="Putting the evidence together (some seconds) ...")
def report(content_hash: str, _study: Study) -> Report:
    """Return the evidence file before it is written in any form."""
    return report_of(results(content_hash, _study))


@st.cache_data(max_entries=8, show_spinner="Writing the evidence file ...")
def form(content_hash: str, ending: str, _study: Study) -> bytes:
    """Return the evidence file in the form that an ending asks for."""
    return FORMS[ending].make(report(content_hash, _study))


@st.cache_data(max_entries=4, show_spinner="Packing the archive ...")
def archive(content_hash: str, ending: str, _study: Study) -> bytes:
    """Return the archive of the study; it has one ending only."""
    return archive_bytes(results(content_hash, _study), report(content_hash, _study))


@st.cache_data(max_entries=32, show_spinner="Looking for where it comes from ...")
def trace(content_hash: str, number_id: str, _study: Study) -> Trace:
    """Return where a number comes from."""
    return why(_study, number_id, results=results(content_hash, _study))
