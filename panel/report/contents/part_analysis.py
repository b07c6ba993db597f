"""Part 10: settings, versions, results with intervals, families of tests, and what other ways of looking say."""

from __future__ import annotations

import platform
from importlib.metadata import version

import pandas as pd

import panel
from panel.report.contents.blocks import Block, Gap, Paragraph, Section, Subheading, TextTable
from panel.report.contents.parts import or_gap, picture, points
from panel.report.contents.results import NotThere, Results
from panel.report.contents.tables_assessors import ranks, scale_use
from panel.report.contents.tables_differences import (
    components,
    loadings,
    means,
    pairs,
    places,
    smallest,
    tests,
    variances,
    versus,
)
from panel.views.assessors.scale_use_words import scale_use_headline, what_scale_use_shows
from panel.views.drawing.palette import MOST_COLOURED
from panel.views.prototypes.difference_pictures import difference_figure, difference_svg
from panel.views.prototypes.difference_words import headline, what_the_differences_show
from panel.views.prototypes.map_words import map_alt_text, what_the_map_shows
from panel.views.prototypes.maps import map_figure, map_svg
from panel.views.prototypes.profiles import PROFILE_CAUTION, profile_figure, profile_svg
from panel.views.prototypes.rank_words import do_both_agree
from panel.views.prototypes.sensitivity_tables import what_could_have_been_seen

_LIBRARIES = ("numpy", "scipy", "pandas", "matplotlib")
_PROFILES = 3  # prototypes in one picture of profiles; more cover each other


def settings(results: Results) -> list[Block]:
    """Return what the analysis was run with."""
    found = results.differences
    rows = [("Program", f"Afterfeel {panel.__version__}"), ("Python", platform.python_version())]
    rows += [(name, version(name)) for name in _LIBRARIES]
    rows += [("Seed of everything that is drawn", f"{results.rng_seed:d}")]
    if not isinstance(found, NotThere):
        margin = f"{found.margin:g} scale units" if found.margin is not None else "none stated"
        rows += [("Level of the intervals", f"{100 * found.level:g} %"), ("Difference that matters", margin)]
        rows += [("Compared with", found.benchmark or "no benchmark: all pairs")]
        rows += [("Family: tests of the attributes", f"{len(found.attributes)} attributes, Holm")]
        rows += [("Family: differences from the benchmark", "within each attribute, Dunnett")]
        rows += [("Family: all pairs", "within each attribute, Tukey")]
    shown = pd.DataFrame(rows, columns=["Setting", "Value"], dtype="str")
    return [Subheading("Settings and versions"), TextTable("Settings and versions", shown)]


def differences(results: Results) -> list[Block]:
    """Return what the trained panel says of the prototypes."""
    found, names = results.differences, results.names
    blocks: list[Block] = [Subheading("Differences between the prototypes (trained panel)")]
    if isinstance(found, NotThere):
        return [*blocks, Gap(found.why)]
    blocks += [Paragraph(headline(found, names)), *points(what_the_differences_show(found, names))]
    chosen = prototypes_in_question(results)
    blocks += [
        or_gap(means(results)),
        picture(
            "profiles",
            "Profiles: estimated means with their intervals",
            "Estimated means of the chosen prototypes with intervals; the table of means has the numbers.",
            lambda: profile_svg(found.means, names, chosen[:_PROFILES]),
            lambda: profile_figure(found.means, names, chosen[:_PROFILES]),
        ),
        Paragraph(PROFILE_CAUTION),
        or_gap(tests(results)),
    ]
    blocks += [_difference_picture(results, name) for name in chosen if name != found.benchmark][:1]
    blocks += [or_gap(versus(results)), or_gap(pairs(results)), or_gap(variances(results))]
    blocks += [
        Gap(f"{row['attribute']} was not compared: {row['why']}.") for row in found.not_estimated.to_dict("records")
    ]
    return [*blocks, *points([found.method, *found.notes])]


def _difference_picture(results: Results, prototype: str) -> Block:
    found, names = results.differences, results.names
    if isinstance(found, NotThere):
        return Gap(found.why)
    rows = found.versus.loc[found.versus["prototype"] == prototype]
    if rows.empty:
        return Paragraph(f"{prototype} is not compared with a benchmark.")
    return picture(
        "differences",
        f"Differences of {prototype} from {found.benchmark}",
        "Differences with their intervals; the table of differences has the numbers.",
        lambda: difference_svg(rows, names, margin=found.margin),
        lambda: difference_figure(rows, names, margin=found.margin),
    )


def prototypes_in_question(results: Results) -> list[str]:
    """Return the benchmark, then the prototypes that claims are about, then the others, as far as they were scored."""
    found, study = results.differences, results.study
    if isinstance(found, NotThere):
        return []
    scored = list(dict.fromkeys(found.means["prototype"]))
    claimed = study.table("claims")["prototype"]
    wanted = [study.benchmark or "", *claimed, *scored]
    return [str(name) for name in dict.fromkeys(wanted) if name in scored]


def map_part(results: Results) -> list[Block]:
    """Return the map of the prototypes."""
    found, names = results.map, results.names
    blocks: list[Block] = [Subheading("Map")]
    if isinstance(found, NotThere):
        return [*blocks, Gap(found.why)]
    chosen = prototypes_in_question(results)[:MOST_COLOURED]
    drawn = picture(
        "map",
        "Map of the prototypes, each with its ring",
        map_alt_text(found, names),
        lambda: map_svg(found, names, chosen),
        lambda: map_figure(found, names, chosen),
    )
    blocks += [*points(what_the_map_shows(found, names)), drawn, or_gap(components(results))]
    blocks += [or_gap(places(results)), or_gap(loadings(results)), *points([found.method, *found.notes])]
    return blocks


def sensitivity(results: Results) -> list[Block]:
    """Return the other ways of looking at the differences."""
    names = results.names
    blocks: list[Block] = [Subheading("Sensitivity: the differences looked at in other ways")]
    could, by_rank, scale = results.sensitivity, results.ranks, results.scale_use
    if not isinstance(could, NotThere):
        blocks.append(Paragraph(what_could_have_been_seen(could, names)))
    blocks.append(or_gap(smallest(results)))
    if not isinstance(by_rank, NotThere):
        blocks.append(Paragraph(do_both_agree(by_rank, names)))
    blocks.append(or_gap(ranks(results)))
    if not isinstance(scale, NotThere):
        blocks += [Paragraph(scale_use_headline(scale, names)), *points(what_scale_use_shows(scale, names))]
    return [*blocks, or_gap(scale_use(results))]


def analysis(results: Results, *more: list[Block]) -> Section:
    """Return settings and results; `more` are the parts on emollients, readings and consumers."""
    parts = [settings(results), differences(results), map_part(results), *more, sensitivity(results)]
    return Section("10", "Analysis and results", tuple(block for part in parts for block in part))
