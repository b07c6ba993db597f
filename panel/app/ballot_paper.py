"""Ballots on paper: pages to print, labels for the cups, and typing what was marked, twice."""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd
import streamlit as st

from panel.app.state import StudyInUse, leave_message
from panel.app.widgets import attempt, heading, plain, say, table
from panel.errors import PanelError
from panel.report.ballot_paper import LINE_LENGTHS_MM, PAPERS, paper_ballots, serving_labels
from panel.report.double_entry import PLACE
from panel.store.ballot_record import BallotRecord
from panel.store.moments import now
from panel.store.typed import keep_typed, take_over_typed, typed_differences, typed_grid
from panel.views.drawing.naming import Naming

NOT_CLEARED = "The safety gate is not open: do not apply anything."
FIRST, SECOND = "first typing", "second typing"
_SCORES = "scores"


def print_paper(study: StudyInUse, session: str, *, stamp: str) -> None:
    """Offer the ballots and labels of a session as PDF files; `stamp` is the warning on every page, if there is one."""
    left, right = st.columns(2)
    paper = str(left.selectbox("Paper", list(PAPERS), key=study.choice("paper")))
    length = right.selectbox("Length of the lines (mm)", LINE_LENGTHS_MM, key=study.choice("line length"))
    if stamp:
        st.markdown(f"**{plain(stamp)}** The same sentence stands on every page.")
    with st.container(horizontal=True):
        _download(
            "Ballots as PDF",
            lambda: paper_ballots(study.study, session, paper=paper, line_mm=int(length or 100), stamp=stamp),
            f"ballots_session_{session}_{paper}.pdf",
        )
        _download(
            "Labels as PDF", lambda: serving_labels(study.study, session, paper=paper), f"labels_{session}_{paper}.pdf"
        )
    st.caption("Print at 100 %, not fitted to the page, and check one line with a ruler.")


def _download(label: str, make: Callable[[], bytes], file_name: str) -> None:
    st.download_button(
        label, make, file_name, "application/pdf", key=f"download {label}", on_click="ignore", icon=":material/print:"
    )


def typing(study: StudyInUse, record: BallotRecord, session: str, names: Naming) -> None:
    """Let two people type the paper ballots of a session, one assessor at a time, and compare what they typed."""
    heading("Typing paper ballots")
    if record.locked[session]:
        st.markdown("The session is locked; nothing can be typed any more.")
        return
    st.caption("Two people type, each alone. Write x where cannot judge is ticked; 48.7 and 48,7 are both read.")
    which = st.radio("Which typing", (FIRST, SECOND), horizontal=True, key=study.choice(f"typing {session}"))
    grid = typed_grid(record.store, record.collection, session, second=which == SECOND)
    if grid.empty:
        return
    assessor = st.selectbox(
        "Whose ballots", list(dict.fromkeys(grid["assessor"])), key=study.choice(f"typed {session}")
    )
    own = grid.loc[grid["assessor"] == assessor]
    with st.form(f"typing {session} {which} {assessor}"):
        who = st.text_input("Who types", key=f"typist {which}", persist_state="session")
        typed = _cells(own, names, which)
        if st.form_submit_button("Keep what is typed"):
            _keep(record, session, typed, second=which == SECOND, who=who or "")
    _compare(record, session, names)


def _cells(own: pd.DataFrame, names: Naming, which: str) -> pd.DataFrame:
    """Return the rows as they are typed into fields: a line of fields for each sample."""
    attributes = [name for name in own.columns if name not in PLACE]
    typed = own.copy()
    for serving, row in own.iterrows():
        st.markdown(f"**Sample {plain(row['position'])}, code {plain(row['code'])}**")
        with st.container(horizontal=True):
            for name in attributes:
                key = f"cell {which} {serving} {name}"
                typed.loc[serving, name] = st.text_input(names.attribute(name), row[name], key=key, width=150) or ""
    return typed


def _keep(record: BallotRecord, session: str, typed: pd.DataFrame, *, second: bool, who: str) -> None:
    kept = attempt(keep_typed, record.store, record.collection, session, typed, second=second, who=who, at=now())
    if kept is not None:
        st.success(f"{kept} cells are kept.", icon=":material/check:")


def _compare(record: BallotRecord, session: str, names: Naming) -> None:
    """Show where the two typings differ, and let what agrees be taken over."""
    differences = typed_differences(record.store, record.collection, session)
    if len(differences):
        st.markdown(f"**The two typings differ in {len(differences)} cells. Look at the paper.**")
        shown = differences.assign(attribute=[names.attribute(name) for name in differences["attribute"]])
        labels = {
            "assessor": "Assessor",
            "code": "Code",
            "attribute": "Attribute",
            "first": "First",
            "second": "Second",
        }
        shown = shown[[*labels, "what"]].rename(columns={**labels, "what": "What"})
        table(shown, name="typing_differences", alt="Where the two typings differ", full=differences)
        return
    if not (typed_grid(record.store, record.collection, session).drop(columns=list(PLACE)) != "").to_numpy().any():
        return
    say(["The two typings agree in every cell that was begun."])
    unit = st.radio(
        "What was typed", (_SCORES, *(f"mm on a line of {mm} mm" for mm in LINE_LENGTHS_MM)), horizontal=True
    )
    if st.button("Take over as answers"):
        line = (
            None
            if unit == _SCORES
            else float(LINE_LENGTHS_MM[[str(mm) in str(unit) for mm in LINE_LENGTHS_MM].index(True)])
        )
        try:
            count = take_over_typed(record.store, record.collection, session, at=now(), line_mm=line)
        except PanelError as error:
            st.warning(plain(error), icon=":material/info:")
            return
        leave_message(f"{count} answers from paper are in the record.")
        st.rerun()
