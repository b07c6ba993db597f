"""Place Study: what is in it and what to settle, its editors, another one, its history, its people."""

from __future__ import annotations

from collections.abc import Iterable
from functools import partial
from pathlib import Path

import pandas as pd
import streamlit as st

from panel.answers import FINDINGS
from panel.app.guide import mend, way_to_mend
from panel.app.state import StudyInUse, moment
from panel.app.study_editors import show_proposal
from panel.app.study_forms import save_form
from panel.app.widgets import (
    act_and_tell,
    ask,
    attempt,
    download,
    drawer,
    file_name,
    headline,
    keep_and_tell,
    plain,
    say,
    show_picture,
    table,
    warn,
)
from panel.checks.finding import SEVERITIES, Finding
from panel.study.folder import read_journal
from panel.study.formulas import emollient_blend, formula_difference, formulated, matched_pairs
from panel.study.knowledge import shared_table
from panel.study.naming import Naming, naming
from panel.study.open_study import zip_bytes
from panel.study.people import WHO_MAY_SEE, names_of_people, people_in, without_people
from panel.study.renaming import with_row_corrected
from panel.study.saving import journal_faults, journal_rows, last_change, remove_person, undo
from panel.study.scores_used import PLACE_COLUMNS, scores_used, with_correction
from panel.study.shown import shown
from panel.study.table_cells import with_headings
from panel.views.emollients.blends import blend_picture
from panel.views.glance import NO_SCORES, in_short
from panel.views.planning.study import (
    BATCHES,
    CHANGED_ROWS,
    CHANGED_SCORES,
    HISTORY,
    formula_difference_table,
    formulas_table,
    what_changed,
    what_is_in_the_study,
    what_the_findings_say,
    what_was_removed,
)
from panel.words import counted

# The parts of the page Study: findings, formulas, batches, changed scores, cautions.


_SEVERITY_WORDS = {"stop": "Settle this first", "warning": "May mislead the results", "note": "Good to know"}
_SEVERITY_SIGNS = {"stop": ":material/block:", "warning": ":material/warning:", "note": ":material/info:"}
_BEFORE_PEOPLE = ("always", "before anybody applies a sample", "while a sample is on the skin")


def _findings_by_severity(study: StudyInUse, found: Iterable[Finding]) -> None:
    together = list(found)
    for severity in SEVERITIES:
        some = [finding for finding in together if finding.severity == severity]
        if not some:
            continue
        label = f"{_SEVERITY_WORDS[severity]} ({len(some)})"
        with st.expander(label, expanded=severity == "stop", icon=_SEVERITY_SIGNS[severity]):
            for number, finding in enumerate(some):
                st.markdown(_finding(finding))
                show_proposal(study, finding, f"proposal {severity} {number}")
                way = way_to_mend(finding)
                key = f"mend {severity} {number}"
                if way and st.button(way, key=key, type="tertiary", icon=":material/edit:"):
                    mend(finding)


def _finding(finding: Finding) -> str:
    what, advice, where = (plain(with_headings(text)) for text in (finding.message, finding.advice, finding.where))
    return f"- **{what}** {advice}  \n  *Where: {where}*"


def _formulas(study: StudyInUse, names: Naming) -> None:
    """Show what the emollient parts are made of, the difference of two formulas, and all formulas."""
    with_formula = list(formulated(study.study))
    if not with_formula:
        st.markdown("No formulas yet. Without them no difference can be traced back to an emollient.")
        return
    blend = emollient_blend(study.study)
    if len(blend):
        show_picture(blend_picture(blend, names, matched_pairs(study.study)))
    if len(with_formula) > 1:
        _difference(study, with_formula, names)
    full = study.study.table("formulas")
    table(formulas_table(study.study), name="formulas", alt="Formulas side by side", full=full)


def _difference(study: StudyInUse, with_formula: list[str], names: Naming) -> None:
    base = with_formula.index(study.study.benchmark) if study.study.benchmark in with_formula else 0
    other = next(place for place in range(len(with_formula)) if place != base)
    left, right = st.columns(2)
    versus = left.selectbox("From the formula of", with_formula, base, format_func=names.prototype)
    prototype = right.selectbox("to the formula of", with_formula, other, format_func=names.prototype)
    change = attempt(formula_difference, study.study, prototype, versus)
    if change is None:
        return
    if change.empty:
        st.markdown("The two formulas are the same.")
        return
    told = formula_difference_table(change, prototype, versus)
    table(told, name="formula_difference", alt=f"What changes from {versus} to {prototype}", full=change)


def _batches(study: StudyInUse) -> None:
    if study.study.table("batches").empty:
        st.markdown("No batches are written down, so their age at test is not known.")
        return
    full = study.study.table("batches")
    table(shown(BATCHES, study.study, Naming()), name="batches", alt="Batches with their age at test", full=full)


def _changed_scores(study: StudyInUse, names: Naming) -> None:
    used = scores_used(study.study)
    if used.set_aside.empty and used.corrected.empty:
        st.markdown("None: every score is used as it came in. A blank is no score, and nothing is filled in for it.")
        return
    table(shown(CHANGED_SCORES, used, names), name="changed_scores", alt="Scores set aside or corrected, and why")


def _general_cautions() -> None:
    known = shared_table("cautions")
    say(known.loc[known["applies"].isin(_BEFORE_PEOPLE), "words"])


# Correcting a score, or setting it aside, with a name and a reason; the score itself stays in the study.


def _correction_form(study: StudyInUse, names: Naming) -> None:
    scores = study.study.scores
    with st.form("correction", clear_on_submit=False):
        asked = [column for column in PLACE_COLUMNS if (scores[column] != "").any()]
        columns = st.columns(len(asked))
        place = {}
        for column, box in zip(asked, columns, strict=True):
            given = list(dict.fromkeys(name for name in scores[column] if name))
            words = names.attribute if column == "attribute" else names.prototype if column == "prototype" else str
            label, key = column.capitalize(), f"correct {column}"
            place[column] = str(box.selectbox(label, given, format_func=words, key=key))
        left, middle, right, last = st.columns([2, 2, 4, 1])
        row = last.text_input("Row", help="As the check numbers it, in place of the names: where two are alike.")
        new = left.text_input("New score", help="7.5 and 7,5 are both read. Leave it empty to set the score aside.")
        who = middle.text_input("Who corrects it")
        why = right.text_input("Why", placeholder="such as: the ballot says 33.0")
        to_disk = study.folder is not None and st.checkbox(f"Also write it into {plain(study.folder)}", value=True)
        if st.form_submit_button("Write the correction"):
            written = {"new": new or "", "who": who or "", "why": why or "", "when": moment()}
            keep_and_tell(
                study,
                lambda now: (
                    with_row_corrected(now, int(row), **written)
                    if row and row.strip().isdecimal()
                    else with_correction(now, place, **written)
                ),
                "The correction is written; the score itself stays in the study.",
                who=written["who"],
                to_disk=bool(to_disk),
            )


_MOST_TO_MIND = 3
_NO_PURPOSE = "The study does not say. Write it down under Edit, About the study."


def show(study: StudyInUse) -> None:
    """Show what is in the study, and what to settle before trusting it."""
    names = naming(study.study)
    found = ask(study.answer, FINDINGS)
    if study.study.scores.empty:  # the headline says it, and it is no fault
        found = tuple(finding for finding in found if finding.kind != NO_SCORES)
    headline(what_is_in_the_study(study.study))
    grave = [finding for finding in found if finding.severity != SEVERITIES[-1]]
    say([what_the_findings_say(found)] if len(grave) > _MOST_TO_MIND else map(in_short, grave))
    _findings_by_severity(study, found)
    drawer("What it is for", lambda: st.markdown(plain(study.study.facts.get("purpose") or _NO_PURPOSE)))
    drawer("Formulas", partial(_formulas, study, names))
    drawer("Batches", partial(_batches, study))
    drawer("Scores set aside or corrected", partial(_changed_scores, study, names))
    if len(study.study.scores):
        with st.expander("Correct a score, or set it aside"):
            _correction_form(study, names)
    with st.expander("Save a copy of the study"):
        save_form(study)
    drawer("Before anybody applies a sample", _general_cautions)


_MOST_CHANGES = 500  # shown; the download has all


def show_history(study: StudyInUse) -> None:
    """Show who changed what, what stood before and after, and let the last change be taken back."""
    if study.folder is None:
        headline("No change is written down: a history is kept with a study folder.")
        st.markdown(
            "Save a copy of this study as a folder on the page Study; each change is written down from then on."
        )
        return
    rows = ask(journal_rows, study.folder)
    headline(what_changed(rows))
    faults = attempt(journal_faults, study.folder) or ()
    if faults:
        st.warning(plain(" ".join(faults)), icon=":material/warning:")
        say(["Ask who changed it, and put the journal back from a copy: what it says cannot be relied on."])
    if rows.empty:
        return
    table(shown(HISTORY, rows, Naming()), name="history", alt="Changes of this study, the last first", full=rows)
    with st.expander("What stood before and after"):
        _rows(rows)
    with st.expander("Take the last change back"):
        attempt(_taken_back, study.folder)
    script = read_journal(study.folder)[0] or b""
    download("All changes as a script", script, f"changes_of_{file_name(study)}.jsonl")
    st.caption("In an earlier copy of the study it makes the same changes: afterfeel set COPY FILE.jsonl")


def _rows(rows: pd.DataFrame) -> None:
    changes = shown(CHANGED_ROWS, rows, Naming())
    table(changes.head(_MOST_CHANGES), name="history_rows", alt="Rows before and after each change", full=rows)
    if len(changes) > _MOST_CHANGES:
        st.caption(f"The first {_MOST_CHANGES} of {len(changes)} rows; the download has all.")


def _taken_back(folder: Path) -> None:
    """Let the last change be taken back, or say why it has to stay."""
    number, stays = last_change(folder)
    if stays:
        st.markdown(plain(stays))
        return
    with st.form("take back"):
        who = st.text_input("Who takes it back") or ""
        why = st.text_input("Why") or ""
        if st.form_submit_button(f"Take change {number} back"):
            done = f"Change {number} is taken back; that is written down as a change too."
            act_and_tell(lambda: undo(folder, number, who=who, why=why), done)


def show_privacy(study: StudyInUse) -> None:
    """Offer a copy without people, and let all that is known of one person be removed."""
    people = people_in(study.study)
    named = names_of_people(study.study)
    known = f"{counted(len(named), 'of them', 'of them')} by what looks like a name" if named else "each by a code"
    headline(f"{counted(len(people), 'person', 'people')} in this study, known {known}.")
    st.markdown(plain(WHO_MAY_SEE))
    st.caption("What is typed and not saved yet stays in this browser, on this computer, for 90 days at most.")
    name = f"{file_name(study)}_without_people.zip"
    download("Study without people, as zip", lambda: zip_bytes(without_people(study.study)), name)
    st.caption(
        "New codes in a new order; without allergies, reactions by name, names of those who signed or corrected, and "
        "imported files. Analyses of scores and answers give the same results."
    )
    with st.expander("Remove what is known of one person, on request"):
        if study.folder is None:
            st.markdown("Save the study as a folder first; then a person can be removed from it.")
        else:
            _removal(study.folder, people)


def _removal(folder: Path, people: tuple[str, ...]) -> None:
    with st.form("remove a person"):
        person = st.selectbox("Person", people, index=None)
        who = st.text_input("Who removes it") or ""
        why = st.text_input("Why", placeholder="without the code: it stays") or ""
        sure = st.checkbox("Remove it; this cannot be undone, and the history begins anew", key="sure to remove")
        if st.form_submit_button("Remove"):
            if not person or not sure:
                warn("Choose the person, and tick that it is to be removed for good.")
                return
            act_and_tell(
                lambda: remove_person(folder, str(person), who=who, why=why),
                lambda removed: " ".join(what_was_removed(*removed)),
            )
