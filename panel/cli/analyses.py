"""Commands that ask the study a question: panel, compare, map."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from panel.cli.beside import beside_as_data, beside_in_words
from panel.cli.planned import planned_as_data, print_planned
from panel.cli.shared import (
    json_option,
    open_path,
    print_json,
    print_lines,
    print_table,
    study_argument,
)

if TYPE_CHECKING:
    from panel.models.prototypes.differences import Differences
    from panel.study.study import Study


@click.command()
@study_argument
@click.option(
    "--versus", default=None, metavar="PROTOTYPE", help="Prototype to compare with; the benchmark if not given."
)
@click.option("--margin", type=float, default=None, help="Largest difference that does not matter, in scale units.")
@click.option(
    "--adjust-for",
    multiple=True,
    type=click.Choice(["position", "site", "first_on_site"]),
    help="Take the effect of this fact of a serving out; may be given more than once.",
)
@click.option("--kenward-roger", is_flag=True, help="Kenward and Roger's method instead of Satterthwaite's.")
@click.option("--beside", is_flag=True, help="Also by ranks, with scale use taken out, and what the model assumes.")
@json_option
def compare(
    study: Path,
    versus: str | None,
    margin: float | None,
    adjust_for: tuple[str, ...],
    kenward_roger: bool,
    beside: bool,
    as_json: bool,
) -> None:
    """Say which prototypes differ, on which attribute, and by how much."""
    from panel.models.prototypes.differences import find_differences

    opened = open_path(study)
    result = find_differences(
        opened,
        versus=versus,
        margin=margin,
        adjust_for=adjust_for,
        small_sample="kenward-roger" if kenward_roger else "satterthwaite",
    )
    if as_json:
        frames = ("attributes", "means", "pairs", "versus", "variances", "both_ways", "set_aside", "not_estimated")
        content: dict[str, Any] = {name: getattr(result, name) for name in frames}
        content |= {"benchmark": result.benchmark, "margin": result.margin, "level": result.level}
        content |= beside_as_data(opened, result) if beside else {}
        print_json(content | planned_as_data(opened, result))
        return
    _print_differences(opened, result, beside=beside)


def _print_differences(opened: Study, result: Differences, *, beside: bool) -> None:
    from panel.views.drawing.naming import naming
    from panel.views.prototypes.difference_words import (
        headline,
        what_the_differences_cannot_show,
        what_the_differences_show,
    )
    from panel.views.prototypes.tables import attributes_table, means_table, pairs_table

    names = naming(opened)
    print_lines(headline(result, names), "", *what_the_differences_show(result, names), "")
    print_table(means_table(result.means, names))
    print_table(attributes_table(result.attributes, names, result.level))
    if len(result.versus):
        print_table(pairs_table(result.versus, names, result.level))
    print_lines(result.method, *result.notes, *what_the_differences_cannot_show(result))
    print_planned(opened, result, names)
    if beside:
        print_lines("", *beside_in_words(opened, result, names))


@click.command()
@study_argument
@json_option
def panel(study: Path, as_json: bool) -> None:
    """Say of each assessor: separates prototypes, repeats, agrees, how the scale is used."""
    from panel.models.assessors.performance import check_panel

    opened = open_path(study)
    result = check_panel(opened)
    if as_json:
        frames = ("assessors", "people", "patterns", "panel", "without", "duplicates")
        content: dict[str, Any] = {name: getattr(result, name) for name in frames}
        print_json(content | {"level": result.level, "method": result.method, "notes": result.notes})
        return
    from panel.views.assessors.assessor_tables import panel_table, people_table
    from panel.views.assessors.assessor_words import (
        panel_headline,
        what_the_assessors_show,
        what_the_panel_check_cannot_show,
        what_would_be_noticed,
    )
    from panel.views.drawing.naming import naming

    names = naming(opened)
    print_lines(
        panel_headline(result),
        "",
        *what_the_assessors_show(result, names),
        "",
        what_would_be_noticed(result, names),
        "",
    )
    print_table(people_table(result))
    print_table(panel_table(result, names))
    print_lines(result.method, *result.notes, *what_the_panel_check_cannot_show(result))


@click.command("map")
@study_argument
@click.option(
    "--matrix",
    type=click.Choice(["covariance", "correlation"]),
    default="covariance",
    help="Covariance when all attributes share one scale.",
)
@click.option("--draws", type=int, default=1000, help="Panels drawn for the regions.")
@click.option("--seed", type=int, default=1, help="Seed of the draws.")
@json_option
def map_prototypes(study: Path, matrix: str, draws: int, seed: int, as_json: bool) -> None:
    """Place the prototypes on a map, with a region for each."""
    import numpy as np

    from panel.models.prototypes.map import find_map

    opened = open_path(study)
    result = find_map(opened, matrix=matrix, draws=draws, rng=np.random.default_rng(seed))  # type: ignore[arg-type]  # click checked the choice
    if as_json:
        frames = {name: getattr(result, name) for name in ("components", "prototypes", "attributes", "regions")}
        print_json(frames | {"matrix": result.matrix, "seed": seed, "method": result.method, "notes": result.notes})
        return
    from panel.views.drawing.naming import naming
    from panel.views.prototypes.map_words import what_the_map_cannot_show, what_the_map_shows
    from panel.views.prototypes.tables import components_table, map_attributes_table, map_places_table

    names = naming(opened)
    print_lines(*what_the_map_shows(result, names), "")
    for table in (components_table(result), map_places_table(result, names), map_attributes_table(result, names)):
        print_table(table)
    print_lines(result.method, f"Seed {seed}.", *result.notes, *what_the_map_cannot_show(result))
