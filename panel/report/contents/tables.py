"""Tables of assessors, emollients, readings, claims and decision, with the id of every number."""

from __future__ import annotations

from panel.answers import Answers, NoAnswer
from panel.claims.judge import CLAIMS
from panel.report.contents.blocks import Numbers, numbers
from panel.study.formulas import formulated
from panel.study.shown import Source, shown
from panel.views.decision.claims import CLAIM_NUMBERS, CLAIMS_TABLE
from panel.views.planning.study import batches_table, formulas_table

# Tables of formulas, swaps, prediction and instrument readings, with the id of every number.


_ENTERED = "As it was written down; nothing was computed."


def formulas(answers: Answers) -> Numbers | NoAnswer:
    """Return the formulas."""
    study = answers.study
    if not formulated(study):
        return NoAnswer("The study holds no formulas.")
    shown, full = formulas_table(study), study.table("formulas")
    rows = [(name,) for name in shown.iloc[:, 0]]
    source = Source("formulas", same={"prototype": "prototype", "ingredient": "ingredient"})
    return numbers("F", "Formulas", shown, full, ["ingredient", "prototype"], _ENTERED, source, rows=rows)


def batches(answers: Answers) -> Numbers | NoAnswer:
    """Return the batches."""
    full = answers.study.table("batches")
    if full.empty:
        return NoAnswer("No batches are written down, so neither their number nor their age at test is known.")
    shown = batches_table(answers.study)
    return numbers("BT", "Batches", shown, full, ["batch"], _ENTERED, Source("batches", same={"batch": "batch"}))


# Tables of verdicts on claims and of the choice of a prototype, with the id of every number.


_SCORES = Source("scores", same={"attribute": "attribute"}, direct=("prototype", "versus"))
_ANSWERS = Source("answers", same={"question": "question"})
NO_CLAIMS = "Nobody has written down a claim, so none is judged here."


def verdicts(answers: Answers) -> Numbers | NoAnswer:
    """Return the verdict on each claim with the number that decides."""
    found = answers.ask(CLAIMS)
    if isinstance(found, NoAnswer):
        return found
    if found.claims.empty:
        return NoAnswer(NO_CLAIMS)
    title = "Verdict on each claim, with the number that decides"
    return numbers(
        "CL",
        title,
        shown(CLAIMS_TABLE, found, answers.names),
        found.claims,
        ["number"],
        found.method,
        _SCORES,
        _ANSWERS,
    )


def all_numbers(answers: Answers) -> Numbers | NoAnswer:
    """Return every number that a claim was held against."""
    found = answers.ask(CLAIMS)
    if isinstance(found, NoAnswer):
        return found
    if found.numbers.empty:
        return NoAnswer("No claim could be held against a number.")
    about = found.claims.set_index("number")[["prototype", "versus", "attribute", "question"]]
    places = found.numbers.groupby("number").cumcount() + 1
    full, key = found.numbers.join(about, on="number").assign(place=places), ["number", "place"]
    title = "Every number that a claim was held against"
    return numbers("CN", title, shown(CLAIM_NUMBERS, found, answers.names), full, key, found.method, _SCORES, _ANSWERS)
