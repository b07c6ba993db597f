"""Tables of how the assessors worked, and of other ways of looking at their scores, with the id of every number."""

from __future__ import annotations

from panel.report.contents.blocks import Numbers
from panel.report.contents.numbers import numbers
from panel.report.contents.results import NotThere, Results
from panel.report.contents.sources import Source
from panel.report.contents.tables_differences import OF_ATTRIBUTE
from panel.views.assessors.assessor_tables import panel_table, people_table, scale_use_table, without_table
from panel.views.decision.evidence_tables import ranks_table

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
