"""Tables of what the trained panel says of the prototypes, with the id of every number."""

from __future__ import annotations

import pandas as pd

from panel.models.emollients.swaps import TracedSwaps
from panel.report.contents.blocks import Numbers, Source, numbers
from panel.report.contents.results import NotThere, Results
from panel.study.formulas import formula_pairs, formulated
from panel.study.study import Study
from panel.views.assessors.assessor_words import (
    both_ways_table,
    panel_table,
    people_table,
    scale_use_table,
    without_table,
)
from panel.views.decision.claims import claim_numbers_of_all, claims_table, interactions_table, ranks_table
from panel.views.decision.decide import gates_table, pairs_decision_table, ranking_table, windows_table
from panel.views.emollients.ladder import prediction_table
from panel.views.emollients.readings import partners_table, reading_swaps_table, readings_table
from panel.views.emollients.swaps import swaps_table
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


def tests(results: Results) -> Numbers | NotThere:
    """Return the F test of each attribute."""
    found = results.differences
    if isinstance(found, NotThere):
        return found
    shown = attributes_table(found.attributes, results.names, found.level)
    title = "Tests that no prototype differs; adjusted by Holm over the attributes"
    return numbers("T", title, shown, found.attributes, ["attribute"], found.method, OF_ATTRIBUTE)


def means(results: Results) -> Numbers | NotThere:
    """Return the estimated means."""
    found = results.differences
    if isinstance(found, NotThere):
        return found
    rows = [(name,) for name in dict.fromkeys(found.means["attribute"])]
    source = Source("scores", same={"attribute": "attribute"}, direct=("prototype",))
    title = "Estimated means; prototypes that share a letter within a row are not told apart (Tukey)"
    shown = means_table(found.means, results.names)
    return numbers("M", title, shown, found.means, ["attribute", "prototype"], found.method, source, rows=rows)


def versus(results: Results) -> Numbers | NotThere:
    """Return the differences from the benchmark."""
    found = results.differences
    if isinstance(found, NotThere):
        return found
    if found.versus.empty:
        return NotThere("The study names no benchmark that was scored, so there are no differences from one.")
    title = f"Differences from {found.benchmark}; intervals and p-values by Dunnett within each attribute"
    return _pairs(results, "D", title, found.versus, printed=True)


def pairs(results: Results) -> Numbers | NotThere:
    """Return all differences between two prototypes."""
    found = results.differences
    if isinstance(found, NotThere):
        return found
    title = "All pairs of prototypes; intervals and p-values by Tukey within each attribute"
    return _pairs(results, "A", title, found.pairs, printed=False)


def _pairs(results: Results, code: str, title: str, rows: pd.DataFrame, *, printed: bool) -> Numbers | NotThere:
    found = results.differences
    if isinstance(found, NotThere):
        return found
    source = Source("scores", same={"attribute": "attribute"}, direct=("prototype", "versus"))
    shown = pairs_table(rows, results.names, found.level)
    key = ["attribute", "prototype", "versus"]
    return numbers(code, title, shown, rows, key, found.method, source, printed=printed)


def variances(results: Results) -> Numbers | NotThere:
    """Return where the scatter of the scores comes from."""
    found = results.differences
    if isinstance(found, NotThere):
        return found
    shown = variances_table(found.variances, results.names)
    title = "Where the scatter comes from, as standard deviations (the unrounded table holds variances)"
    return numbers("V", title, shown, found.variances, ["attribute"], found.method, OF_ATTRIBUTE)


def both_ways(results: Results) -> Numbers | NotThere:
    """Return the F tests with and without the scores that were changed."""
    found = results.differences
    if isinstance(found, NotThere):
        return found
    if found.both_ways.empty:
        return NotThere("No score was corrected or set aside, so there is one analysis only.")
    full = found.both_ways.assign(scores=found.both_ways["rules"].map({True: "as analysed", False: "as they came in"}))
    rows = [(name,) for name in dict.fromkeys(full["attribute"])]
    shown = both_ways_table(found.both_ways, results.names)
    title = "F tests with and without the changed scores"
    return numbers("B", title, shown, full, ["attribute", "scores"], found.method, OF_ATTRIBUTE, rows=rows)


def smallest(results: Results) -> Numbers | NotThere:
    """Return the smallest differences that could have been seen."""
    found = results.sensitivity
    if isinstance(found, NotThere):
        return found
    shown = smallest_difference_table(found, results.names)
    rows = [(name,) for name in dict.fromkeys(found.medians["attribute"])]
    title = f"Smallest true difference seen with probability {found.power:g}"
    return numbers("Z", title, shown, found.medians, ["attribute", "family"], found.method, OF_ATTRIBUTE, rows=rows)


def components(results: Results) -> Numbers | NotThere:
    """Return the shares of the map's components."""
    found = results.map
    if isinstance(found, NotThere):
        return found
    shown = components_table(found)
    title = "Share of the differences on each component of the map"
    return numbers("C", title, shown, found.components, ["component"], found.method, Source("scores"))


def places(results: Results) -> Numbers | NotThere:
    """Return the places of the prototypes on the map."""
    found = results.map
    if isinstance(found, NotThere):
        return found
    source = Source("scores", direct=("prototype",))
    shown = map_places_table(found, results.names)
    return numbers(
        "CP", "Places of the prototypes on the map", shown, found.regions, ["prototype"], found.method, source
    )


def loadings(results: Results) -> Numbers | NotThere:
    """Return how the attributes go with the map's components."""
    found = results.map
    if isinstance(found, NotThere):
        return found
    rows = [(name,) for name in dict.fromkeys(found.attributes["attribute"])]
    shown = map_attributes_table(found, results.names)
    key, title = ["attribute", "component"], "Attributes and the components of the map"
    return numbers("CA", title, shown, found.attributes, key, found.method, OF_ATTRIBUTE, rows=rows)


# Tables of how the assessors worked, and of other ways of looking at their scores, with the id of every number.


OF_ASSESSOR = Source("scores", same={"assessor": "assessor"})


def people(results: Results) -> Numbers | NotThere:
    """Return one row for each assessor."""
    found = results.panel
    if isinstance(found, NotThere):
        return found
    shown = people_table(found)
    return numbers("P", "Each assessor", shown, found.people, ["assessor"], found.method, OF_ASSESSOR)


def panel(results: Results) -> Numbers | NotThere:
    """Return how well the panel as a whole measures each attribute."""
    found = results.panel
    if isinstance(found, NotThere):
        return found
    shown = panel_table(found, results.names)
    title = "How well the panel measures each attribute"
    return numbers("Q", title, shown, found.panel, ["attribute"], found.method, OF_ATTRIBUTE)


def each_assessor(results: Results) -> Numbers | NotThere:
    """Return the numbers of every assessor on every attribute."""
    found = results.panel
    if isinstance(found, NotThere):
        return found
    source = Source("scores", same={"assessor": "assessor", "attribute": "attribute"})
    full, key = found.assessors, ["assessor", "attribute"]
    shown = full[key].astype("str").rename(columns={"assessor": "Assessor", "attribute": "Attribute"})
    title = "Each assessor on each attribute"
    return numbers("PA", title, shown, full, key, found.method, source, printed=False)


def without(results: Results) -> Numbers | NotThere:
    """Return the tests without each assessor."""
    found = results.panel
    if isinstance(found, NotThere):
        return found
    if found.without.empty:
        return NotThere("The comparison without each assessor was not possible.")
    rows = [(name,) for name in dict.fromkeys(found.without["attribute"])]
    shown = without_table(found.without, results.names)
    title = "F of each attribute with everybody, and without each assessor"
    key = ["attribute", "assessor"]
    return numbers("W", title, shown, found.without, key, found.method, OF_ATTRIBUTE, rows=rows)


def ranks(results: Results) -> Numbers | NotThere:
    """Return what the ranks say of each attribute."""
    found = results.ranks
    if isinstance(found, NotThere):
        return found
    shown = ranks_table(found, results.names)
    title = "The order of the prototypes alone, beside the mixed model"
    return numbers("K", title, shown, found.attributes, ["attribute"], found.method, OF_ATTRIBUTE)


def scale_use(results: Results) -> Numbers | NotThere:
    """Return the scaling model beside the additive one."""
    found = results.scale_use
    if isinstance(found, NotThere):
        return found
    shown = scale_use_table(found, results.names)
    title = "With each assessor's use of the scale taken into account"
    return numbers("U", title, shown, found.attributes, ["attribute"], found.method, OF_ATTRIBUTE)


# Tables of formulas, swaps, prediction and instrument readings, with the id of every number.


_ENTERED = "As it was written down; nothing was computed."


def formulas(results: Results) -> Numbers | NotThere:
    """Return the formulas."""
    study = results.study
    if not formulated(study):
        return NotThere("The study holds no formulas.")
    shown, full = formulas_table(study), study.table("formulas")
    rows = [(name,) for name in shown.iloc[:, 0]]
    source = Source("formulas", same={"prototype": "prototype", "ingredient": "ingredient"})
    return numbers("F", "Formulas", shown, full, ["ingredient", "prototype"], _ENTERED, source, rows=rows)


def batches(results: Results) -> Numbers | NotThere:
    """Return the batches."""
    full = results.study.table("batches")
    if full.empty:
        return NotThere("No batches are written down, so neither their number nor their age at test is known.")
    shown = batches_table(results.study)
    return numbers("BT", "Batches", shown, full, ["batch"], _ENTERED, Source("batches", same={"batch": "batch"}))


def swaps(results: Results) -> Numbers | NotThere:
    """Return what each swap did to each attribute."""
    found = results.swaps
    if isinstance(found, NotThere):
        return found
    if len(found.swaps) + len(found.joint) == 0:
        return NotThere("No two prototypes differ by one swap only, so no effect can be laid to a swap.")
    full = pd.concat([part for part in (found.swaps, found.joint) if len(part)], ignore_index=True)
    source = Source("scores", same={"attribute": "attribute"}, group=("swap", _members(results.study, found)))
    key = ["attribute", "removed", "added"]
    title = "What each swap of emollients did"
    return numbers("S", title, swaps_table(found, results.names), full, key, found.method, source)


def _members(study: Study, found: TracedSwaps) -> dict[str, tuple[str, ...]]:
    """Return the prototypes that each swap, or joint change, was seen on."""
    differing = formula_pairs(study)
    joint = differing.loc[differing["kind"] == "joint"]
    members: dict[str, list[str]] = {}
    for row in [*found.pairs.to_dict("records"), *joint.to_dict("records")]:
        for swap in (f"{row['removed']} -> {row['added']}", f"{row['added']} -> {row['removed']}"):
            members.setdefault(swap, []).extend((str(row["prototype"]), str(row["versus"])))
    return {swap: tuple(dict.fromkeys(names)) for swap, names in members.items()}


def interactions(results: Results) -> Numbers | NotThere:
    """Return how the effect of a swap changes when another is made too."""
    found = results.swaps
    if isinstance(found, NotThere):
        return found
    if found.interactions.empty:
        return NotThere("No two swaps were made both apart and together, so whether they act together is not known.")
    shown, full = interactions_table(found, results.names), found.interactions
    key = ["attribute", "swap", "with_swap"]
    title = "What two swaps do together beyond the sum of both"
    return numbers("SI", title, shown, full, key, found.method, OF_ATTRIBUTE, printed=False)


def prediction(results: Results) -> Numbers | NotThere:
    """Return how well left-out prototypes are predicted."""
    found = results.ladder
    if isinstance(found, NotThere):
        return found
    if found.prediction.empty:
        return NotThere("There are too few prototypes to predict those that are left out.")
    shown = prediction_table(found, results.names)
    title = "Prediction of prototypes that were left out"
    return numbers("L", title, shown, found.prediction, ["attribute"], found.method, OF_ATTRIBUTE)


def readings(results: Results) -> Numbers | NotThere:
    """Return the means of the instrument readings."""
    found = results.readings
    if isinstance(found, NotThere):
        return found
    rows = [(name,) for name in found.measures["measure"]]
    source = Source("readings", same={"measure": "measure", "prototype": "prototype"})
    key, title = ["measure", "prototype"], "Instrument readings"
    return numbers("R", title, readings_table(found), found.means, key, found.method, source, rows=rows)


def partners(results: Results) -> Numbers | NotThere:
    """Return the correlations that were declared beforehand."""
    found = results.readings
    if isinstance(found, NotThere):
        return found
    if found.partners.empty:
        return NotThere("No attribute was paired with a reading beforehand, so no correlation is tested.")
    shown = partners_table(found, results.names)
    sources = (Source("readings", same={"measure": "measure"}), OF_ATTRIBUTE)
    title = "Attributes and the readings paired with them beforehand"
    return numbers("RP", title, shown, found.partners, ["attribute", "measure"], found.method, *sources)


def reading_swaps(results: Results) -> Numbers | NotThere:
    """Return what each swap did to the readings."""
    found = results.readings
    if isinstance(found, NotThere):
        return found
    if found.swaps.empty:
        return NotThere("No reading can be compared over a swap.")
    shown = reading_swaps_table(found)
    source = Source("readings", same={"measure": "measure"})
    title = "What each swap did to the readings"
    return numbers(
        "RS", title, shown, found.swaps, ["measure", "removed", "added"], found.method, source, printed=False
    )


# Tables of verdicts on claims and of the choice of a prototype, with the id of every number.


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
