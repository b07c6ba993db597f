"""Tables of what the trained panel says of the prototypes, with the id of every number."""

from __future__ import annotations

import pandas as pd

from panel.answers import Answers, NoAnswer
from panel.claims.judge import CLAIMS
from panel.report.contents.blocks import Numbers, numbers
from panel.study.formulas import formulated
from panel.study.shown import Source
from panel.views.assessors.assessor_words import (
    both_ways_table,
    panel_table,
    people_table,
    scale_use_table,
    without_table,
)
from panel.views.decision.claims import claim_numbers_of_all, claims_table, ranks_table
from panel.views.decision.decide import gates_table, pairs_decision_table, ranking_table, windows_table
from panel.views.planning.study import batches_table, formulas_table
from panel.views.prototypes.differences import (
    attributes_table,
    components_table,
    map_attributes_table,
    map_places_table,
    means_table,
    pairs_table,
    smallest_difference_table,
    variances_table,
)

OF_ATTRIBUTE = Source("scores", same={"attribute": "attribute"})


def tests(answers: Answers) -> Numbers | NoAnswer:
    """Return the F test of each attribute."""
    found = answers.differences
    if isinstance(found, NoAnswer):
        return found
    shown = attributes_table(found.attributes, answers.names, found.level)
    title = "Tests that no prototype differs; adjusted by Holm over the attributes"
    return numbers("T", title, shown, found.attributes, ["attribute"], found.method, OF_ATTRIBUTE)


def means(answers: Answers) -> Numbers | NoAnswer:
    """Return the estimated means."""
    found = answers.differences
    if isinstance(found, NoAnswer):
        return found
    rows = [(name,) for name in dict.fromkeys(found.means["attribute"])]
    source = Source("scores", same={"attribute": "attribute"}, direct=("prototype",))
    title = "Estimated means; prototypes that share a letter within a row are not told apart (Tukey)"
    shown = means_table(found.means, answers.names)
    return numbers("M", title, shown, found.means, ["attribute", "prototype"], found.method, source, rows=rows)


def versus(answers: Answers) -> Numbers | NoAnswer:
    """Return the differences from the benchmark."""
    found = answers.differences
    if isinstance(found, NoAnswer):
        return found
    if found.versus.empty:
        return NoAnswer("The study names no benchmark that was scored, so there are no differences from one.")
    title = f"Differences from {found.benchmark}; intervals and p-values by Dunnett within each attribute"
    return _pairs(answers, "D", title, found.versus, printed=True)


def pairs(answers: Answers) -> Numbers | NoAnswer:
    """Return all differences between two prototypes."""
    found = answers.differences
    if isinstance(found, NoAnswer):
        return found
    title = "All pairs of prototypes; intervals and p-values by Tukey within each attribute"
    return _pairs(answers, "A", title, found.pairs, printed=False)


def _pairs(answers: Answers, code: str, title: str, rows: pd.DataFrame, *, printed: bool) -> Numbers | NoAnswer:
    found = answers.differences
    if isinstance(found, NoAnswer):
        return found
    source = Source("scores", same={"attribute": "attribute"}, direct=("prototype", "versus"))
    shown = pairs_table(rows, answers.names, found.level)
    key = ["attribute", "prototype", "versus"]
    return numbers(code, title, shown, rows, key, found.method, source, printed=printed)


def variances(answers: Answers) -> Numbers | NoAnswer:
    """Return where the scatter of the scores comes from."""
    found = answers.differences
    if isinstance(found, NoAnswer):
        return found
    shown = variances_table(found.variances, answers.names)
    title = "Where the scatter comes from, as standard deviations (the unrounded table holds variances)"
    return numbers("V", title, shown, found.variances, ["attribute"], found.method, OF_ATTRIBUTE)


def both_ways(answers: Answers) -> Numbers | NoAnswer:
    """Return the F tests with and without the scores that were changed."""
    found = answers.differences
    if isinstance(found, NoAnswer):
        return found
    if found.both_ways.empty:
        return NoAnswer("No score was corrected or set aside, so there is one analysis only.")
    full = found.both_ways.assign(scores=found.both_ways["rules"].map({True: "as analysed", False: "as they came in"}))
    rows = [(name,) for name in dict.fromkeys(full["attribute"])]
    shown = both_ways_table(found.both_ways, answers.names)
    title = "F tests with and without the changed scores"
    return numbers("B", title, shown, full, ["attribute", "scores"], found.method, OF_ATTRIBUTE, rows=rows)


def smallest(answers: Answers) -> Numbers | NoAnswer:
    """Return the smallest differences that could have been seen."""
    found = answers.sensitivity
    if isinstance(found, NoAnswer):
        return found
    shown = smallest_difference_table(found, answers.names)
    rows = [(name,) for name in dict.fromkeys(found.medians["attribute"])]
    title = f"Smallest true difference seen with probability {found.power:g}"
    return numbers("Z", title, shown, found.medians, ["attribute", "family"], found.method, OF_ATTRIBUTE, rows=rows)


def components(answers: Answers) -> Numbers | NoAnswer:
    """Return the shares of the map's components."""
    found = answers.map
    if isinstance(found, NoAnswer):
        return found
    shown = components_table(found)
    title = "Share of the differences on each component of the map"
    return numbers("C", title, shown, found.components, ["component"], found.method, Source("scores"))


def places(answers: Answers) -> Numbers | NoAnswer:
    """Return the places of the prototypes on the map."""
    found = answers.map
    if isinstance(found, NoAnswer):
        return found
    source = Source("scores", direct=("prototype",))
    shown = map_places_table(found, answers.names)
    return numbers(
        "CP", "Places of the prototypes on the map", shown, found.regions, ["prototype"], found.method, source
    )


def loadings(answers: Answers) -> Numbers | NoAnswer:
    """Return how the attributes go with the map's components."""
    found = answers.map
    if isinstance(found, NoAnswer):
        return found
    rows = [(name,) for name in dict.fromkeys(found.attributes["attribute"])]
    shown = map_attributes_table(found, answers.names)
    key, title = ["attribute", "component"], "Attributes and the components of the map"
    return numbers("CA", title, shown, found.attributes, key, found.method, OF_ATTRIBUTE, rows=rows)


# Tables of how the assessors worked, and of other ways of looking at their scores, with the id of every number.


OF_ASSESSOR = Source("scores", same={"assessor": "assessor"})


def people(answers: Answers) -> Numbers | NoAnswer:
    """Return one row for each assessor."""
    found = answers.panel
    if isinstance(found, NoAnswer):
        return found
    shown = people_table(found)
    return numbers("P", "Each assessor", shown, found.people, ["assessor"], found.method, OF_ASSESSOR)


def panel(answers: Answers) -> Numbers | NoAnswer:
    """Return how well the panel as a whole measures each attribute."""
    found = answers.panel
    if isinstance(found, NoAnswer):
        return found
    shown = panel_table(found, answers.names)
    title = "How well the panel measures each attribute"
    return numbers("Q", title, shown, found.panel, ["attribute"], found.method, OF_ATTRIBUTE)


def each_assessor(answers: Answers) -> Numbers | NoAnswer:
    """Return the numbers of every assessor on every attribute."""
    found = answers.panel
    if isinstance(found, NoAnswer):
        return found
    source = Source("scores", same={"assessor": "assessor", "attribute": "attribute"})
    full, key = found.assessors, ["assessor", "attribute"]
    shown = full[key].astype("str").rename(columns={"assessor": "Assessor", "attribute": "Attribute"})
    title = "Each assessor on each attribute"
    return numbers("PA", title, shown, full, key, found.method, source, printed=False)


def without(answers: Answers) -> Numbers | NoAnswer:
    """Return the tests without each assessor."""
    found = answers.panel
    if isinstance(found, NoAnswer):
        return found
    if found.without.empty:
        return NoAnswer("The comparison without each assessor was not possible.")
    rows = [(name,) for name in dict.fromkeys(found.without["attribute"])]
    shown = without_table(found.without, answers.names)
    title = "F of each attribute with everybody, and without each assessor"
    key = ["attribute", "assessor"]
    return numbers("W", title, shown, found.without, key, found.method, OF_ATTRIBUTE, rows=rows)


def ranks(answers: Answers) -> Numbers | NoAnswer:
    """Return what the ranks say of each attribute."""
    found = answers.ranks
    if isinstance(found, NoAnswer):
        return found
    shown = ranks_table(found, answers.names)
    title = "The order of the prototypes alone, beside the mixed model"
    return numbers("K", title, shown, found.attributes, ["attribute"], found.method, OF_ATTRIBUTE)


def scale_use(answers: Answers) -> Numbers | NoAnswer:
    """Return the scaling model beside the additive one."""
    found = answers.scale_use
    if isinstance(found, NoAnswer):
        return found
    shown = scale_use_table(found, answers.names)
    title = "With each assessor's use of the scale taken into account"
    return numbers("U", title, shown, found.attributes, ["attribute"], found.method, OF_ATTRIBUTE)


# Tables of formulas and batches, with the id of every number.


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
    return numbers("CL", title, claims_table(found), found.claims, ["number"], found.method, _SCORES, _ANSWERS)


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
    return numbers("CN", title, claim_numbers_of_all(found), full, key, found.method, _SCORES, _ANSWERS)


def ranking(answers: Answers) -> Numbers | NoAnswer:
    """Return how each prototype stands against the target profile."""
    found = answers.decision
    if isinstance(found, NoAnswer):
        return found
    title = "Each prototype against the target profile"
    attributes = tuple(dict.fromkeys(found.windows["attribute"]))
    source = Source("scores", only={"attribute": attributes}, direct=("prototype",))
    return numbers("DE", title, ranking_table(found, answers.names), found.ranking, ["prototype"], found.method, source)


def windows(answers: Answers) -> Numbers | NoAnswer:
    """Return each prototype in each target window."""
    found = answers.decision
    if isinstance(found, NoAnswer):
        return found
    shown, key = windows_table(found.windows, answers.names, found.level), ["attribute", "prototype"]
    source = Source("scores", same={"attribute": "attribute"}, direct=("prototype", "versus"))
    title = "Each prototype in each target window"
    return numbers("DW", title, shown, found.windows, key, found.method, source, printed=False)


def gates(answers: Answers) -> Numbers | NoAnswer:
    """Return whether each prototype passes the gates on pH, viscosity, cost and the like."""
    found = answers.decision
    if isinstance(found, NoAnswer):
        return found
    if found.gates.empty:
        return NoAnswer("The study states no gates, such as limits of pH, viscosity or cost.")
    rows = [(name,) for name in dict.fromkeys(found.gates["gate"])]
    sources = (Source("batches", same={"prototype": "prototype"}), Source("formulas", same={"prototype": "prototype"}))
    key, title = ["gate", "prototype"], "Gates: limits that a prototype has to keep"
    return numbers("DG", title, gates_table(found), found.gates, key, found.method, *sources, rows=rows)


def decision_pairs(answers: Answers) -> Numbers | NoAnswer:
    """Return what separates two prototypes overall."""
    found = answers.decision
    if isinstance(found, NoAnswer):
        return found
    attributes = tuple(dict.fromkeys(found.windows["attribute"]))
    source = Source("scores", only={"attribute": attributes}, direct=("prototype", "versus"))
    shown, key = pairs_decision_table(found), ["prototype", "versus"]
    title = "What separates two prototypes overall"
    return numbers("DP", title, shown, found.pairs, key, found.method, source, printed=False)
