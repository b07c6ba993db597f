"""Page: what is in the study, and what to settle before trusting it?"""

from __future__ import annotations

from collections.abc import Iterable

import streamlit as st

from panel.answers import FINDINGS
from panel.app.new_study import show_start
from panel.app.places import PART, PARTS
from panel.app.state import StudyInUse, keep, leave_message, moment
from panel.app.study_editors import mend_button, show_editors
from panel.app.study_forms import save_form
from panel.app.widgets import ask, attempt, headline, plain, say, show_picture, table
from panel.checks.finding import SEVERITIES, Finding
from panel.errors import PanelError
from panel.study.formulas import emollient_blend, formula_difference, formulated, matched_pairs
from panel.study.knowledge import cautions
from panel.study.naming import Naming, naming
from panel.study.scores_used import PLACE_COLUMNS, scores_used, with_correction
from panel.views.emollients.blends import blend_picture
from panel.views.planning.study import (
    batches_table,
    changed_scores_table,
    formula_difference_table,
    formulas_table,
    what_is_in_the_study,
    what_the_findings_say,
)

# The parts of the page Study: findings, formulas, batches, changed scores, cautions.


_SEVERITY_WORDS = {"stop": "Settle this first", "warning": "May mislead the results", "note": "Good to know"}
_SEVERITY_SIGNS = {"stop": ":material/block:", "warning": ":material/warning:", "note": ":material/info:"}
_BEFORE_PEOPLE = ("always", "before anybody applies a sample", "while a sample is on the skin")


def findings_by_severity(found: Iterable[Finding]) -> None:
    """Show the findings, the gravest first, each with its place and what to do."""
    together = list(found)
    for severity in SEVERITIES:
        some = [finding for finding in together if finding.severity == severity]
        if not some:
            continue
        label = f"{_SEVERITY_WORDS[severity]} ({len(some)})"
        with st.expander(label, expanded=severity == "stop", icon=_SEVERITY_SIGNS[severity]):
            for number, finding in enumerate(some):
                st.markdown(_finding(finding))
                mend_button(finding, number, then=_to_the_editors)


def _to_the_editors() -> None:
    st.session_state[PART] = PARTS["edit"][1].title


def _finding(finding: Finding) -> str:
    return f"- **{plain(finding.message)}** {plain(finding.advice)}  \n  *Where: {plain(finding.where)}*"


def formulas(study: StudyInUse, names: Naming) -> None:
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
    shown = formula_difference_table(change, prototype, versus)
    table(shown, name="formula_difference", alt=f"What changes from {versus} to {prototype}", full=change)


def batches(study: StudyInUse) -> None:
    """Show the batches with their age at test."""
    if study.study.table("batches").empty:
        st.markdown("No batches are written down, so their age at test is not known.")
        return
    full = study.study.table("batches")
    table(batches_table(study.study), name="batches", alt="Batches with their age at test", full=full)


def changed_scores(study: StudyInUse, names: Naming) -> None:
    """Show the scores that the analysis does not use as they came in, and why."""
    used = scores_used(study.study)
    if used.set_aside.empty and used.corrected.empty:
        st.markdown("None: every score is used as it came in. A blank is no score, and nothing is filled in for it.")
        return
    shown = changed_scores_table(used.set_aside, used.corrected, names)
    table(shown, name="changed_scores", alt="Scores set aside or corrected, and why")


def general_cautions() -> None:
    """Show the cautions that hold before anybody applies a sample."""
    known = cautions()
    say(known.loc[known["applies"].isin(_BEFORE_PEOPLE), "words"])


# Correcting a score, or setting it aside, with a name and a reason; the score itself stays in the study.


_LABELS = {
    "assessor": "Assessor",
    "session": "Session",
    "replicate": "Replicate",
    "prototype": "Prototype",
    "attribute": "Attribute",
}


def correction_form(study: StudyInUse, names: Naming) -> None:
    """Let the user write one correction."""
    scores = study.study.scores
    with st.form("correction", clear_on_submit=False):
        asked = [column for column in PLACE_COLUMNS if (scores[column] != "").any()]
        columns = st.columns(len(asked))
        place = {}
        for column, box in zip(asked, columns, strict=True):
            given = list(dict.fromkeys(name for name in scores[column] if name))
            words = names.attribute if column == "attribute" else names.prototype if column == "prototype" else str
            place[column] = str(box.selectbox(_LABELS[column], given, format_func=words, key=f"correct {column}"))
        left, middle, right = st.columns([1, 1, 2])
        new = left.text_input("New score", help="7.5 and 7,5 are both read. Leave it empty to set the score aside.")
        who = middle.text_input("Who corrects it")
        why = right.text_input("Why", placeholder="such as: the ballot says 33.0")
        to_disk = study.folder is not None and st.checkbox(f"Also write it into {plain(study.folder)}")
        if st.form_submit_button("Write the correction"):
            _write(study, place, {"new": new or "", "who": who or "", "why": why or ""}, to_disk=to_disk)


def _write(study: StudyInUse, place: dict[str, str], words: dict[str, str], *, to_disk: bool) -> None:
    """Add the correction to the study in use, and to its folder if that was asked for."""
    try:
        said = keep(
            study,
            lambda now: with_correction(now, place, when=moment(), **words),
            "The correction is written; the score itself stays in the study.",
            who=words["who"],
            to_disk=to_disk,
        )
    except PanelError as error:
        st.warning(plain(error), icon=":material/info:")
        return
    leave_message(said)
    st.rerun()


# The parts: the study as it is, its editors, another one.


_MOST_TO_MIND = 3


def show_edit(study: StudyInUse) -> None:
    """Show the editors of tables and facts."""
    show_editors(study)


def show_other(_study: StudyInUse) -> None:
    """Show how another study is begun or opened."""
    show_start()


def show(study: StudyInUse) -> None:
    """Show what is in the study, and what to settle before trusting it."""
    names = naming(study.study)
    found = ask(study.answer, FINDINGS)
    headline(what_is_in_the_study(study.study))
    grave = [finding for finding in found if finding.severity != SEVERITIES[-1]]
    say([what_the_findings_say(found)] if len(grave) > _MOST_TO_MIND else [finding.message for finding in grave])
    findings_by_severity(found)
    purpose = str(study.study.facts.get("purpose") or "")
    with st.expander("What it is for"):
        st.markdown(plain(purpose or "The study does not say. Write it down under Edit, About the study."))
    with st.expander("Formulas"):
        formulas(study, names)
    with st.expander("Batches"):
        batches(study)
    with st.expander("Scores set aside or corrected"):
        changed_scores(study, names)
    if len(study.study.scores):
        with st.expander("Correct a score, or set it aside"):
            correction_form(study, names)
    with st.expander("Save a copy of the study"):
        save_form(study)
    with st.expander("Before anybody applies a sample"):
        general_cautions()
