"""Tables of verdicts on claims and of the choice of a prototype, with the id of every number."""

from __future__ import annotations

from panel.report.contents.blocks import Numbers
from panel.report.contents.numbers import numbers
from panel.report.contents.results import NotThere, Results
from panel.report.contents.sources import Source
from panel.views.decision.claim_tables import claims_table
from panel.views.decision.decision_tables import gates_table, pairs_decision_table, ranking_table, windows_table
from panel.views.decision.evidence_tables import claim_numbers_of_all

_SCORES = Source("scores", same={"attribute": "attribute"}, direct=("prototype", "versus"))
_ANSWERS = Source("answers", same={"question": "question"})
NO_CLAIMS = "Nobody has written down a claim, so none is judged here."


def verdicts(results: Results) -> Numbers | NotThere:
    """Return the verdict on each claim with the number that decides."""
    found = results.claims
    if isinstance(found, NotThere):
        return found
    if found.claims.empty:
        return NotThere(NO_CLAIMS)
    title = "Verdict on each claim, with the number that decides"
    return numbers("CL", title, claims_table(found), found.claims, ["number"], found.method, _SCORES, _ANSWERS)


def all_numbers(results: Results) -> Numbers | NotThere:
    """Return every number that a claim was held against."""
    found = results.claims
    if isinstance(found, NotThere):
        return found
    if found.numbers.empty:
        return NotThere("No claim could be held against a number.")
    about = found.claims.set_index("number")[["prototype", "versus", "attribute", "question"]]
    places = found.numbers.groupby("number").cumcount() + 1
    full, key = found.numbers.join(about, on="number").assign(place=places), ["number", "place"]
    title = "Every number that a claim was held against"
    return numbers("CN", title, claim_numbers_of_all(found), full, key, found.method, _SCORES, _ANSWERS)


def ranking(results: Results) -> Numbers | NotThere:
    """Return how each prototype stands against the target profile."""
    found = results.decision
    if isinstance(found, NotThere):
        return found
    title = "Each prototype against the target profile"
    attributes = tuple(dict.fromkeys(found.windows["attribute"]))
    source = Source("scores", only={"attribute": attributes}, direct=("prototype",))
    return numbers("DE", title, ranking_table(found, results.names), found.ranking, ["prototype"], found.method, source)


def windows(results: Results) -> Numbers | NotThere:
    """Return each prototype in each target window."""
    found = results.decision
    if isinstance(found, NotThere):
        return found
    shown, key = windows_table(found.windows, results.names, found.level), ["attribute", "prototype"]
    source = Source("scores", same={"attribute": "attribute"}, direct=("prototype", "versus"))
    title = "Each prototype in each target window"
    return numbers("DW", title, shown, found.windows, key, found.method, source, printed=False)


def gates(results: Results) -> Numbers | NotThere:
    """Return whether each prototype passes the gates on pH, viscosity, cost and the like."""
    found = results.decision
    if isinstance(found, NotThere):
        return found
    if found.gates.empty:
        return NotThere("The study states no gates, such as limits of pH, viscosity or cost.")
    rows = [(name,) for name in dict.fromkeys(found.gates["gate"])]
    sources = (Source("batches", same={"prototype": "prototype"}), Source("formulas", same={"prototype": "prototype"}))
    key, title = ["gate", "prototype"], "Gates: limits that a prototype has to keep"
    return numbers("DG", title, gates_table(found), found.gates, key, found.method, *sources, rows=rows)


def decision_pairs(results: Results) -> Numbers | NotThere:
    """Return what separates two prototypes overall."""
    found = results.decision
    if isinstance(found, NotThere):
        return found
    attributes = tuple(dict.fromkeys(found.windows["attribute"]))
    source = Source("scores", only={"attribute": attributes}, direct=("prototype", "versus"))
    shown, key = pairs_decision_table(found), ["prototype", "versus"]
    title = "What separates two prototypes overall"
    return numbers("DP", title, shown, found.pairs, key, found.method, source, printed=False)
