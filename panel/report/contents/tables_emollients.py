"""Tables of formulas, swaps, prediction and instrument readings, with the id of every number."""

from __future__ import annotations

import pandas as pd

from panel.models.emollients.swaps import TracedSwaps
from panel.report.contents.blocks import Numbers
from panel.report.contents.numbers import numbers
from panel.report.contents.results import NotThere, Results
from panel.report.contents.sources import Source
from panel.report.contents.tables_differences import OF_ATTRIBUTE
from panel.study.formulas import formulated
from panel.study.study import Study
from panel.study.swaps import formula_pairs
from panel.views.decision.evidence_tables import interactions_table
from panel.views.emollients.ladder_tables import prediction_table
from panel.views.emollients.reading_tables import partners_table, reading_swaps_table, readings_table
from panel.views.emollients.swap_tables import swaps_table
from panel.views.planning.study_tables import batches_table, formulas_table

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
