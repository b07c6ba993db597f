"""The parts of the page Study: findings, formulas, batches, changed scores, cautions."""

from __future__ import annotations

from collections.abc import Iterable

import streamlit as st

from panel.app.state import StudyInUse
from panel.app.widgets import attempt, picture, plain, say, table
from panel.checks.finding import SEVERITIES, Finding
from panel.study.blend import emollient_blend
from panel.study.formulas import formula_difference, formulated
from panel.study.knowledge import cautions
from panel.study.scores_used import scores_used
from panel.study.swaps import matched_pairs
from panel.views.drawing.naming import Naming
from panel.views.emollients.swap_pictures import blend_figure, blend_svg
from panel.views.emollients.swap_words import blend_alt_text
from panel.views.planning.study_tables import (
    batches_table,
    changed_scores_table,
    formula_difference_table,
    formulas_table,
)

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
        with st.expander(label, expanded=severity != "note", icon=_SEVERITY_SIGNS[severity]):
            st.markdown("\n".join(map(_finding, some)))


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
        pairs = matched_pairs(study.study)
        picture(
            blend_svg(blend, names, pairs),
            lambda: blend_figure(blend, names, pairs),
            name="formulas_blends",
            alt=blend_alt_text(blend, names),
        )
    if len(with_formula) > 1:
        _difference(study, with_formula, names)
    with st.expander("All formulas, with totals"):
        table(
            formulas_table(study.study),
            name="formulas",
            alt="Formulas side by side",
            full=study.study.table("formulas"),
        )


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
