"""The differences planned beforehand, and what is alike within the margin, for the command `compare`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from panel.cli.shared import print_lines, print_table

if TYPE_CHECKING:
    from panel.models.prototypes.differences import Differences
    from panel.study.study import Study
    from panel.views.drawing.naming import Naming


def planned_as_data(study: Study, result: Differences) -> dict[str, Any]:
    """Return the planned differences and the tests of likeness, with how they were computed."""
    from panel.models.prototypes.alike import find_alike
    from panel.models.prototypes.planned_differences import planned_differences

    planned, alike = planned_differences(study, result), find_alike(study, result)
    return {
        "planned": planned.differences,
        "equivalence": alike.differences,
        "method": " ".join([result.method, planned.method, alike.method]),
        "notes": [*result.notes, *planned.notes, *alike.notes],
    }


def print_planned(study: Study, result: Differences, names: Naming) -> None:
    """Print the planned differences, then what is alike or not worse."""
    from panel.models.prototypes.alike import find_alike
    from panel.models.prototypes.planned_differences import planned_differences
    from panel.views.prototypes.alike_words import alike_headline, what_alike_cannot_show, what_is_alike
    from panel.views.prototypes.planned_words import (
        planned_headline,
        planned_table,
        what_planned_differences_cannot_show,
    )

    planned, alike = planned_differences(study, result), find_alike(study, result)
    print_lines("", planned_headline(planned), *planned.notes)
    if len(planned.differences):
        print_table(planned_table(planned, names))
        print_lines(planned.method, *what_planned_differences_cannot_show(planned))
    print_lines("", alike_headline(alike))
    if len(alike.differences):
        print_lines(*what_is_alike(alike, names), "", alike.method, *alike.notes, *what_alike_cannot_show(alike))
