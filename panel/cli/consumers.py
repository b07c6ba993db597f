"""Command about consumers' answers: liking, groups of consumers, just about right, check all that apply, agreement."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from panel.cli.shared import json_option, open_path, print_json, print_lines, print_table, print_told, study_argument
from panel.errors import ModelError

if TYPE_CHECKING:
    from panel.models.consumers.forced_choice import ForcedChoices
    from panel.models.consumers.liking import Liking
    from panel.models.consumers.preference import Preferences
    from panel.models.consumers.preference_map import PreferenceMap
    from panel.models.consumers.segments import Segments
    from panel.study.naming import Naming
    from panel.study.study import Study

KINDS = ("liking", "just_about_right", "check_all", "agreement")
SEED = 1
_LIKING = ("tests", "means", "pairs", "versus", "distribution", "boxes", "lost", "serving", "positions", "by_order")
_SEGMENTS = ("steps", "consumers", "means", "divided", "alike", "left_out")
_PREFERENCES = ("places", "liking", "directions", "ideals", "sensations")


@click.command(short_help="Say what consumers like and answered.")
@study_argument
@click.option(
    "--versus", default=None, metavar="PROTOTYPE", help="Prototype to compare liking with; the benchmark if not given."
)
@click.option("--seed", type=int, default=SEED, help="Seed of the draws behind groups and preference map.")
@json_option
def consumers(study: Path, versus: str | None, seed: int, as_json: bool) -> None:
    """Say what consumers like, whether they want different things, and what else they answered."""
    opened = open_path(study)
    asked = set(opened.table("answers")["kind"])
    present = [kind for kind in KINDS if kind in asked]
    if not present:
        raise ModelError(
            "The study has no answers of consumers. Add them to the table answers with the kind liking, "
            "just_about_right, check_all or agreement, one row for each consumer, prototype and question."
        )
    if as_json:
        content: dict[str, Any] = {"kinds": present, "seed": seed}
        if "liking" in present:
            content["liking"] = _liking_as_data(opened, versus, seed)
        content |= {kind: _frames(_counted(opened, kind)) for kind in present if kind != "liking"}
        print_json(_rows(content))
        return
    if "liking" in present:
        _print_liking(opened, versus, seed)
    for kind in present:
        if kind != "liking":
            _print_counted(opened, kind)


def _asked_liking(study: Study, versus: str | None, seed: int) -> list[tuple[Liking, Segments | str, Any]]:
    """Return liking, groups and preference map of each liking question; a sentence where one cannot be answered."""
    import numpy as np

    from panel.models.consumers.answers import questions_of
    from panel.models.consumers.liking import weigh_liking
    from panel.models.consumers.preference_map import map_preferences
    from panel.models.consumers.segments import find_segments

    told: list[tuple[Liking, Segments | str, PreferenceMap | str]] = []
    for question in questions_of(study, "liking"):
        rng = np.random.default_rng(seed)
        result = weigh_liking(study, versus=versus, question=question)
        try:
            segments = find_segments(study, rng, question=question)
        except ModelError as error:
            told.append((result, str(error), str(error)))
            continue
        try:
            mapped: PreferenceMap | str = map_preferences(study, rng, question=question, segments=segments)
        except ModelError as error:
            mapped = str(error)
        told.append((result, segments, mapped))
    return told


def _liking_as_data(study: Study, versus: str | None, seed: int) -> list[dict[str, Any]]:
    return [
        {name: getattr(result, name) for name in _LIKING}
        | {"question": result.question, "benchmark": result.benchmark, "level": result.level}
        | {"same_everywhere": result.same_everywhere, "variances": result.variances, "unread": result.answers.unread}
        | {"n_consumers": result.answers.n_consumers, "n_complete": result.answers.n_complete}
        | {"method": result.method, "notes": result.notes}
        | {"segments": _part(segments, _SEGMENTS, ("n_groups", "why_one", "n_grouped"))}
        | {"preferences": _part(mapped, _PREFERENCES, ("limit", "n_consumers"))}
        for result, segments, mapped in _asked_liking(study, versus, seed)
    ]


def _part(result: Any, frames: tuple[str, ...], also: tuple[str, ...]) -> dict[str, Any]:
    """Return the frames of a result; the sentence that says why there is none."""
    if isinstance(result, str):
        return {"why_not": result}
    return {name: getattr(result, name) for name in (*frames, *also, "method", "notes")}


def _print_liking(study: Study, versus: str | None, seed: int) -> None:
    from panel.study.naming import naming
    from panel.views.consumers.liking import (
        liking_headline,
        liking_pairs_table,
        liking_table,
        liking_tests_table,
        what_liking_cannot_show,
        what_liking_shows,
    )

    names = naming(study)
    for result, segments, mapped in _asked_liking(study, versus, seed):
        print_lines(f"Liking: {result.question}", "", liking_headline(result, names), "")
        print_lines(*what_liking_shows(result, names), "")
        print_table(liking_table(result, names))
        print_table(liking_tests_table(result))
        if len(result.versus):
            print_table(liking_pairs_table(result.versus, result))
        print_lines(result.method, *result.notes, *what_liking_cannot_show(result), "")
        _print_segments(segments, mapped, names, seed)


def _print_segments(segments: Any, mapped: Any, names: Naming, seed: int) -> None:
    from panel.views.consumers.preference_map import (
        preferences_headline,
        sensations_caption,
        sensations_table,
        what_the_preferences_cannot_show,
        what_the_preferences_show,
    )
    from panel.views.consumers.segments import (
        segments_headline,
        segments_table,
        steps_table,
        what_the_segments_cannot_show,
        what_the_segments_show,
    )

    if isinstance(segments, str):
        print_lines(segments, "")
        return
    print_lines(segments_headline(segments, names), "", *what_the_segments_show(segments, names), "")
    print_table(segments_table(segments, names))
    if len(segments.steps):
        print_table(steps_table(segments))
    print_lines(segments.method, f"Seed {seed}.", *segments.notes, *what_the_segments_cannot_show(segments), "")
    if isinstance(mapped, str):
        print_lines(mapped, "")
        return
    print_lines(preferences_headline(mapped, segments, names), "")
    print_lines(*what_the_preferences_show(mapped, segments, names), "")
    print_table(sensations_table(mapped, segments, names))
    print_lines(sensations_caption(mapped), mapped.method, *mapped.notes, *what_the_preferences_cannot_show(mapped), "")


def _counted(study: Study, kind: str) -> Any:
    """Return the result of a kind other than liking; the sentence that says why there is none."""
    from panel.models.consumers.agreement import count_agreement
    from panel.models.consumers.check_all import count_check_all
    from panel.models.consumers.just_about_right import weigh_just_about_right

    try:
        if kind == "just_about_right":
            return weigh_just_about_right(study)
        return count_check_all(study) if kind == "check_all" else count_agreement(study)
    except ModelError as error:
        return str(error)


def _frames(result: Any) -> dict[str, Any]:
    """Return everything a result holds; a result inside it as a mapping of its own."""
    from dataclasses import fields, is_dataclass

    if isinstance(result, str):
        return {"why_not": result}
    found = {each.name: getattr(result, each.name) for each in fields(result)}
    return {name: _frames(value) if is_dataclass(value) else value for name, value in found.items()}


def _rows(content: Any) -> Any:
    """Return the content with every frame, however deep, as rows of plain values."""
    import pandas as pd

    from panel.views.drawing.plain_data import records

    if isinstance(content, pd.DataFrame):
        return records(content)
    if isinstance(content, dict):
        return {name: _rows(value) for name, value in content.items()}
    return [_rows(value) for value in content] if isinstance(content, list | tuple) else content


def _print_counted(study: Study, kind: str) -> None:
    from panel.study.naming import naming
    from panel.views.consumers.agreement import tell_agreement
    from panel.views.consumers.check_all import tell_check_all
    from panel.views.consumers.just_about_right import tell_just_about_right

    result = _counted(study, kind)
    title = {"just_about_right": "Just about right", "check_all": "Check all that apply", "agreement": "Agreement"}
    print_lines(title[kind], "")
    if isinstance(result, str):
        print_lines(result, "")
        return
    names = naming(study)
    tell: dict[str, Any] = {
        "just_about_right": tell_just_about_right,
        "check_all": tell_check_all,
        "agreement": tell_agreement,
    }
    print_told(tell[kind](result, names), everything=True)


# Command about forced choices: can people tell two samples apart, and which one do they prefer?


@click.command("forced-choice", short_help="Judge forced choices, count preferences.")
@study_argument
@click.option(
    "--similar-below",
    type=float,
    default=None,
    metavar="SHARE",
    help="Share of people who may tell the samples apart, such as 0.3, in place of the recorded one.",
)
@click.option("--all", "everything", is_flag=True, help="Also what else there is to say.")
@json_option
def forced_choice(study: Path, similar_below: float | None, everything: bool, as_json: bool) -> None:
    """Judge triangle, duo-trio, 3-AFC, tetrad and paired tests, and count preferences."""
    from panel.answers import FORCED_CHOICES, PREFERENCES, Answers
    from panel.views.consumers.choices import tell_forced_choices, tell_preferences

    answers = Answers(open_path(study))
    kinds = set(answers.study.table("answers")["kind"])
    # a study without any such answers gets the sentence that says how to record them
    asked = bool(kinds & set(FORCED_CHOICES.kinds)) or "preference" not in kinds
    choices = answers.need(FORCED_CHOICES, similar_below=similar_below) if asked else None
    preferences = answers.need(PREFERENCES) if "preference" in kinds else None
    if as_json:
        print_json(_choices_as_data(choices, preferences))
        return
    if choices is not None:
        print_told(tell_forced_choices(choices, answers.names), everything=everything)
    if preferences is not None:
        print_told(tell_preferences(preferences, answers.names), everything=everything)


def _choices_as_data(choices: ForcedChoices | None, preferences: Preferences | None) -> dict[str, Any]:
    content: dict[str, Any] = {}
    methods: list[str] = []
    notes: list[str] = []
    if choices is not None:
        content |= {name: getattr(choices, name) for name in ("tests", "sessions", "repeated")}
        content |= {"unread": choices.unread, "level": choices.level}
        methods.append(choices.method)
        notes += choices.notes
    if preferences is not None:
        content |= {"preferences": preferences.counts, "preference_ways": preferences.ways, "level": preferences.level}
        content["preferences_unread"] = preferences.unread
        methods.append(preferences.method)
        notes += preferences.notes
    return content | {"method": " ".join(methods), "notes": notes}
