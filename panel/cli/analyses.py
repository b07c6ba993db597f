"""Commands that ask the study what the panel says: panel, compare, map, over-time."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from panel.cli.shared import (
    all_option,
    json_option,
    open_path,
    parts_of,
    print_json,
    print_lines,
    print_told,
    study_argument,
    told_level,
)
from panel.errors import ModelError

if TYPE_CHECKING:
    from panel.models.prototypes.differences import Differences
    from panel.study.naming import Naming
    from panel.study.study import Study


@click.command()
@study_argument
@click.option(
    "--versus", default=None, metavar="PROTOTYPE", help="Prototype to compare with; the benchmark if not given."
)
@click.option("--margin", type=float, default=None, help="Smallest difference that matters, in scale units.")
@click.option(
    "--adjust-for",
    multiple=True,
    type=click.Choice(["position", "site", "first_on_site"]),
    help="Take the effect of this fact of a serving out; may be given more than once.",
)
@click.option("--kenward-roger", is_flag=True, help="Kenward and Roger's method instead of Satterthwaite's.")
@click.option("--beside", is_flag=True, help="Also by ranks, with scale use taken out, and what the model assumes.")
@all_option
@json_option
def compare(
    study: Path,
    versus: str | None,
    margin: float | None,
    adjust_for: tuple[str, ...],
    kenward_roger: bool,
    beside: bool,
    everything: bool,
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
        content = parts_of(result, *frames, "benchmark") | {"margins": dict(result.margins)} | told_level()
        content |= dict(zip(("pairs", "versus"), result.without_luck, strict=True))
        content |= _beside_as_data(opened, result) if beside else {}
        print_json(content | _planned_as_data(opened, result))
        return
    _print_differences(opened, result, beside=beside, everything=everything)


@click.command("compare-all", short_help="Say for each study in a folder which prototypes differ.")
@click.argument("folder", type=click.Path(path_type=Path, exists=True, file_okay=False))
@click.option("--workers", type=click.IntRange(0), default=0, help="Processes at work; one a processor if not given.")
@click.option("--scheduler", default="", metavar="ADDRESS", help="Dask scheduler whose workers do it: tcp://host:port.")
@json_option
def compare_all(folder: Path, workers: int, scheduler: str, as_json: bool) -> None:
    """Say for each study in a folder which prototypes differ: study folders, workbooks and zipped folders.

    The workers of a Dask scheduler must find the folder under the same path.
    """
    from panel.spread import spread
    from panel.study.tables import DESCRIPTION

    studies = [
        path
        for path in sorted(folder.resolve().iterdir())
        if path.suffix.casefold() in (".xlsx", ".zip") or (path / DESCRIPTION).is_file()
    ]
    found = []
    with click.progressbar(length=len(studies), label="Studies", file=sys.stderr) as bar:
        work = partial(_differences_of, with_frames=as_json)
        for each in spread(work, studies, workers=workers, scheduler=scheduler):
            found.append(each)
            bar.update(1)
    if as_json:
        print_json({"studies": [{k: each[k] for k in each if k not in _FRAMES} for each in found]} | _together(found))
    for each in () if as_json else found:
        count = f"the prototypes differ on {len(each['differ_on'])} of {each['asked']} attributes"
        count += f" {each['holds']}" if each["differ_on"] and each["holds"] else ""
        names = f" ({', '.join(each['differ_on'])})" if each["differ_on"] else ""
        print_lines(f"{each['study']}: {each['why_not'] or f'{count}{names}.'}")
    if not studies:
        raise ModelError(f"{folder} holds no studies. Name the folder in which the study folders stand.")
    if without := [each["study"] for each in found if each["why_not"]]:
        raise ModelError(f"{len(without)} of {len(found)} studies could not be compared: {', '.join(without)}.")


_FRAMES = ("attributes", "means", "pairs", "versus")
_ASKED_OF = (*("scores", "prototypes", "attributes", "assessors", "formulas", "batches", "servings", "corrections"),)
"""Tables that say whether prototypes differ."""


def _differences_of(path: Path, *, with_frames: bool) -> dict[str, Any]:
    """Return what `compare` finds in the study at a path: attributes that differ, frames; or why there is nothing."""
    import pandas as pd

    from panel.errors import PanelError
    from panel.models.prototypes.differences import attributes_tested, find_differences
    from panel.models.prototypes.panel_design import fit_study
    from panel.models.prototypes.verdict import DIFFERS, groups_scoring, holds_alone
    from panel.study.open_study import open_study

    told: dict[str, Any] = {"study": path.name, "why_not": "", "differ_on": [], "asked": 0, "holds": ""}
    try:
        with pd.option_context("mode.string_storage", "python"):  # as in `open_path`
            study = open_study(path, _ASKED_OF)
            result = find_differences(study) if with_frames else None
            table = attributes_tested(study) if result is None else result.attributes
    except PanelError as error:
        return told | {"why_not": str(error)}
    told["holds"] = holds_alone(fit_study(study).confounds, groups_scoring(study))
    told |= {"asked": len(table), "differ_on": table.loc[table["verdict"] == DIFFERS, "attribute"].tolist()}
    frames = () if result is None else (table, result.means, *result.without_luck)
    return told | {name: frame.assign(study=path.name) for name, frame in zip(_FRAMES, frames, strict=False)}


def _together(found: list[dict[str, Any]]) -> dict[str, Any]:
    import pandas as pd

    parts = {name: [each[name] for each in found if name in each] for name in _FRAMES}
    return {name: pd.concat(rows, ignore_index=True) if rows else [] for name, rows in parts.items()}


def _print_differences(opened: Study, result: Differences, *, beside: bool, everything: bool) -> None:
    from panel.models.prototypes.alike import find_alike, planned_differences
    from panel.study.naming import naming
    from panel.views.prototypes.alike import tell_alike, tell_planned
    from panel.views.prototypes.differences import tell_differences

    names = naming(opened)
    planned, alike = planned_differences(opened, result), find_alike(opened, result)
    print_told(tell_differences(result, names), everything=everything)
    for told, there in (
        (tell_planned(planned, names), len(planned.differences) > 0 or len(planned.notes) > 0),
        (tell_alike(alike, names), len(alike.differences) > 0),
    ):
        if everything:
            print_told(told, everything=True)
        elif there:
            print_lines(told.headline)
    if beside:
        print_lines("", *_beside_in_words(opened, result, names))


@click.command()
@study_argument
@all_option
@json_option
def panel(study: Path, everything: bool, as_json: bool) -> None:
    """Say whom to talk to and about what: who separates prototypes, repeats, agrees, how the scale is used."""
    from panel.models.assessors.performance import check_panel

    opened = open_path(study)
    result = check_panel(opened)
    if as_json:
        content = parts_of(result, "assessors", "people", "patterns", "panel", "without", "duplicates")
        print_json(content | told_level() | parts_of(result, "method", "notes"))
        return
    from panel.study.naming import naming
    from panel.views.assessors.people import tell_people

    print_told(tell_people(result, naming(opened)), everything=everything)


@click.command("map")
@study_argument
@click.option(
    "--matrix",
    type=click.Choice(["covariance", "correlation"]),
    help="Covariance, if not given, when all attributes share one scale, else correlation.",
)
@click.option("--draws", type=int, default=1000, help="Panels drawn for the regions.")
@click.option("--seed", type=int, default=1, help="Seed of the draws.")
@all_option
@json_option
def map_prototypes(study: Path, matrix: str | None, draws: int, seed: int, everything: bool, as_json: bool) -> None:
    """Place the prototypes on a map, with a region for each."""
    from panel.answers import MAP, Answers

    answers = Answers(open_path(study), seed)
    result = answers.need(MAP, matrix=matrix, draws=draws)
    if as_json:
        content = parts_of(result, "components", "prototypes", "attributes", "regions", "matrix")
        print_json(content | {"seed": seed} | parts_of(result, "method", "notes"))
        return
    from panel.views.prototypes.map import tell_map

    print_told(tell_map(result, answers.names), everything=everything)
    if everything:
        print_lines(f"Seed {seed}.")


_SEED = 1  # of the simulated reference behind the tests of what the model assumes


def _beside_as_data(study: Study, result: Differences) -> dict[str, Any]:
    """Return the frames of the ranks, the scaling model, the smallest differences and the assumptions."""
    import numpy as np

    from panel.models.prototypes.alike import smallest_difference
    from panel.models.prototypes.assumptions import look_at_assumptions
    from panel.models.prototypes.ranks import compare_ranks, find_scale_use

    assumptions = look_at_assumptions(study, rng=np.random.default_rng(_SEED))
    scale_use = find_scale_use(study)
    return {
        "ranks": compare_ranks(study, result).attributes,
        "scale_use": scale_use.attributes,
        "scale_factors": scale_use.factors,
        "smallest_differences": smallest_difference(result).medians,
        "assumptions": assumptions.tests,
        "scale_ends": assumptions.ends,
        "influence": assumptions.influence,
        "seed": _SEED,
    }


def _beside_in_words(study: Study, result: Differences, names: Naming) -> Iterator[str]:
    """Yield what the other ways of looking say."""
    import numpy as np

    from panel.models.prototypes.alike import smallest_difference
    from panel.models.prototypes.assumptions import look_at_assumptions
    from panel.models.prototypes.ranks import compare_ranks, find_scale_use
    from panel.views.prototypes.alike import tell_sensitivity
    from panel.views.prototypes.assumptions import tell_assumptions
    from panel.views.prototypes.other_ways import tell_ranks, tell_scale_use

    yield tell_sensitivity(smallest_difference(result), names).headline
    yield tell_ranks(compare_ranks(study, result), names).headline
    scale_use = tell_scale_use(find_scale_use(study), names)
    yield scale_use.headline
    yield from (item for each in scale_use.drawers for item in each.items if isinstance(item, str))
    told = tell_assumptions(look_at_assumptions(study, rng=np.random.default_rng(_SEED)), names)
    yield told.headline
    yield from (str(item) for each in told.drawers[:2] for item in each.items)


def _planned_as_data(study: Study, result: Differences) -> dict[str, Any]:
    """Return the planned differences and the tests of likeness, with how they were computed."""
    from panel.models.prototypes.alike import find_alike, planned_differences

    planned, alike = planned_differences(study, result), find_alike(study, result)
    return {
        "planned": planned.differences,
        "equivalence": alike.differences,
        "method": " ".join([result.method, planned.method, alike.method]),
        "notes": [*result.notes, *planned.notes, *alike.notes],
    }


_NOTHING_OVER_TIME = (
    "Nothing in this study runs over time. Score an attribute at several times (in the table attributes each time has "
    "a row of its own, with the same name and other minutes), or add the table courses or the table dominances."
)


@click.command("over-time", short_help="Say what happens over time.")
@study_argument
@all_option
@json_option
def over_time(study: Path, everything: bool, as_json: bool) -> None:
    """Say what happens over time: after-feel, courses of intensity, dominance."""
    from panel.answers import AFTER_FEEL, COURSES, DOMINANCES, Answers, NoAnswer
    from panel.models.over_time.after_feel import timed_attributes
    from panel.views.over_time import tell_after_feel, tell_courses, tell_dominance

    answers = Answers(open_path(study))
    has_courses, has_dominance = (not answers.study.table(name).empty for name in ("courses", "dominances"))
    timed = bool(timed_attributes(answers.study))
    if not (timed or has_courses or has_dominance):
        raise ModelError(_NOTHING_OVER_TIME)
    there: list[tuple[Any, bool]] = [(AFTER_FEEL, timed), (COURSES, has_courses), (DOMINANCES, has_dominance)]
    found = [answers.ask(question) if has else None for question, has in there]
    lacking = [each.why for each in found if isinstance(each, NoAnswer)]
    after_feel, courses, dominances = (None if isinstance(each, NoAnswer) else each for each in found)
    if after_feel is courses is dominances is None:
        raise ModelError(lacking[0])
    for why in lacking:  # the others are told all the same
        click.echo(why, err=True)
    if as_json:
        print_json(_as_data(after_feel, courses, dominances) | ({"seed": answers.seed} if dominances else {}))
        return
    told: list[tuple[Any, Any]] = [(after_feel, tell_after_feel), (courses, tell_courses), (dominances, tell_dominance)]
    for result, tell in told:
        if result is not None:
            print_told(tell(result, answers.names), everything=everything)


def _as_data(after_feel: Any, courses: Any, dominances: Any) -> dict[str, Any]:
    content: dict[str, Any] = {}
    if after_feel is not None:
        found = parts_of(after_feel, "tests", "curves", "versus", "variances")
        content |= {f"after_feel_{name}": frame for name, frame in found.items()}
    if courses is not None:
        content |= {"courses": courses.courses, "mean_courses": courses.means}
        if courses.differences is not None:
            content["course_tests"] = courses.differences.attributes
            content["course_pairs"] = courses.differences.without_luck[0]
    if dominances is not None:
        found = parts_of(dominances, "rates", "lines", "periods", "differences")
        content |= {f"dominance_{name}": frame for name, frame in found.items()}
    results = [result for result in (after_feel, courses, dominances) if result is not None]
    methods = " ".join(result.method for result in results)
    return content | {"method": methods, "notes": [note for result in results for note in result.notes]}
