"""Tables of what the trained panel says of the prototypes, with the id of every number."""

from __future__ import annotations

import pandas as pd

from panel.report.contents.blocks import Numbers
from panel.report.contents.numbers import numbers
from panel.report.contents.results import NotThere, Results
from panel.report.contents.sources import Source
from panel.views.assessors.both_ways import both_ways_table
from panel.views.prototypes.sensitivity_tables import smallest_difference_table
from panel.views.prototypes.tables import (
    attributes_table,
    components_table,
    map_attributes_table,
    map_places_table,
    means_table,
    pairs_table,
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
