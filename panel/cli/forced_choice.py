"""Command about forced choices: can people tell two samples apart, and which one do they prefer?"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from panel.cli.shared import json_option, open_path, print_json, print_lines, print_table, study_argument

if TYPE_CHECKING:
    from panel.models.consumers.forced_choice import ForcedChoices
    from panel.models.consumers.preference import Preferences
    from panel.study.study import Study


@click.command("forced-choice", short_help="Judge forced choices, count preferences.")
@study_argument
@click.option(
    "--similar-below",
    type=float,
    default=None,
    metavar="SHARE",
    help="Share of people who may tell the samples apart, such as 0.3, in place of the recorded one.",
)
@json_option
def forced_choice(study: Path, similar_below: float | None, as_json: bool) -> None:
    """Judge triangle, duo-trio, 3-AFC, tetrad and paired tests, and count preferences."""
    from panel.models.consumers.choice_answers import METHOD_OF
    from panel.models.consumers.forced_choice import judge_forced_choices
    from panel.models.consumers.preference import count_preferences

    opened = open_path(study)
    kinds = set(opened.table("answers")["kind"])
    # a study without any such answers gets the sentence that says how to record them
    asked = bool(kinds & set(METHOD_OF)) or "preference" not in kinds
    choices = judge_forced_choices(opened, similar_below=similar_below) if asked else None
    preferences = count_preferences(opened) if "preference" in kinds else None
    if as_json:
        print_json(_as_data(choices, preferences))
        return
    _print_words(opened, choices, preferences)


def _as_data(choices: ForcedChoices | None, preferences: Preferences | None) -> dict[str, Any]:
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


def _print_words(study: Study, choices: ForcedChoices | None, preferences: Preferences | None) -> None:
    from panel.views.consumers.choice_tables import (
        choice_sessions_table,
        choices_table,
        preferences_table,
        similarity_table,
    )
    from panel.views.consumers.choice_words import (
        choice_headline,
        how_much_it_could_see,
        repeated_words,
        what_choices_cannot_show,
        what_the_choices_show,
    )
    from panel.views.consumers.preference_words import (
        preference_headline,
        what_preferences_cannot_show,
        what_the_preferences_show,
    )
    from panel.views.drawing.naming import naming

    names = naming(study)
    if choices is not None:
        print_lines(choice_headline(choices), "", *what_the_choices_show(choices, names), "")
        print_table(choices_table(choices))
        if choices.tests["limit"].notna().any():
            print_table(similarity_table(choices))
        print_table(choice_sessions_table(choices))
        print_lines(*repeated_words(choices), *how_much_it_could_see(choices))
        print_lines(choices.method, *choices.notes, *what_choices_cannot_show(choices), "")
    if preferences is not None:
        print_lines(preference_headline(preferences), "", *what_the_preferences_show(preferences, names), "")
        print_table(preferences_table(preferences))
        print_lines(preferences.method, *preferences.notes, *what_preferences_cannot_show(preferences))
