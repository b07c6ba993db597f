"""Commands about consumers' answers: what they like and answered, and what they choose."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields, is_dataclass
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
    from panel.answers import Answers
    from panel.models.consumers.choices import Preferences
    from panel.models.consumers.forced_choice import ForcedChoices

_TITLES = {
    "liking": "Liking",
    "just_about_right": "Just about right",
    "check_all": "Check all that apply",
    "agreement": "Agreement",
}
_LIKING = (
    *("tests", "means", "pairs", "versus", "distribution", "boxes", "lost", "serving", "positions"),
    *("question", "benchmark", "same_everywhere", "variances", "method", "notes"),
)
_SEGMENTS = ("steps", "consumers", "means", "divided", "alike", "left_out", "n_groups", "why_one", "order")
_PREFERENCES = ("places", "liking", "directions", "ideals", "sensations", "limit", "n_consumers")


@click.command(short_help="Say what consumers like and answered.")
@study_argument
@click.option(
    "--versus", default=None, metavar="PROTOTYPE", help="Prototype to compare liking with; the benchmark if not given."
)
@click.option("--seed", type=int, default=1, show_default=True, help="Seed of the draws behind groups and map.")
@all_option
@json_option
def consumers(study: Path, versus: str | None, seed: int, everything: bool, as_json: bool) -> None:
    """Say what consumers like, whether they want different things, and what else they answered."""
    from panel.answers import Answers

    answers = Answers(open_path(study), seed)
    asked = set(answers.study.table("answers")["kind"])
    present = [kind for kind in _TITLES if kind in asked]
    elsewhere = _told_elsewhere(answers)
    if not present:
        raise ModelError(
            elsewhere
            or "The study has no answers of consumers. Add them to the table answers with the kind liking, "
            "just_about_right, check_all or agreement, one row for each consumer, prototype and question."
        )
    if as_json:
        content: dict[str, Any] = {"kinds": present, "told_elsewhere": elsewhere, "seed": seed}
        for kind in present:
            other = told_level() | _held(getattr(answers, kind)) if kind != "liking" else None
            content[kind] = list(_liking_as_data(answers, versus)) if other is None else other
        print_json(content)
        return
    asked_and_found = [each for kind in present for each in _to_tell(answers, kind, versus)]
    if present == ["liking"] and all(isinstance(found, str) for _, found, _ in asked_and_found):
        raise ModelError(asked_and_found[0][1])
    for number, (title, found, tell) in enumerate(asked_and_found):
        if everything:
            print_lines(title, "")
        if isinstance(found, str):
            print_lines(found, "")
        else:
            print_told(tell(found, answers.names), everything=everything, brief=number > 0 and not everything)
    print_lines(*([elsewhere] if elsewhere else []))
    if everything:
        print_lines(f"Everything that is drawn starts from seed {seed}.")


def _told_elsewhere(answers: Answers) -> str:
    """Return which other answers consumers gave, and where these are told; empty where there are none."""
    from panel.answers import FORCED_CHOICES, PREFERENCES
    from panel.study.scores_used import named_rows
    from panel.words import counted, format_list

    kinds, told = named_rows(answers.study, "answers")["kind"], []
    for question, asked in ((PREFERENCES, "which of two they prefer"), (FORCED_CHOICES, "whether they can tell")):
        if count := int(kinds.isin(question.kinds).sum()):
            told.append(f"{asked} ({counted(count, 'answer')})")
    return f"Also asked: {format_list(told)}. Told by: afterfeel forced-choice STUDY." if told else ""


def _to_tell(answers: Answers, kind: str, versus: str | None) -> Iterator[tuple[str, Any, Any]]:
    """Yield title, answer (or why there is none) and how it is told, for each question of a kind."""
    from panel.answers import NoAnswer
    from panel.views.consumers.agreement import tell_agreement
    from panel.views.consumers.check_all import tell_check_all
    from panel.views.consumers.just_about_right import tell_just_about_right
    from panel.views.consumers.liking import tell_liking
    from panel.views.consumers.preference_map import tell_preference_map
    from panel.views.consumers.segments import tell_segments

    if kind == "liking":
        for question, liking, segments, mapped in _asked_liking(answers, versus):
            yield f"{_TITLES[kind]}: {question}", liking, tell_liking
            if not isinstance(liking, str):
                yield "Do they want different things?", segments, tell_segments
            if not isinstance(segments, str):
                yield "Which sensations go along with liking?", mapped, tell_preference_map
        return
    tell = {"just_about_right": tell_just_about_right, "check_all": tell_check_all, "agreement": tell_agreement}
    found = getattr(answers, kind)
    yield _TITLES[kind], found.why if isinstance(found, NoAnswer) else found, tell[kind]


def _asked_liking(answers: Answers, versus: str | None) -> Iterator[tuple[str, Any, Any, Any]]:
    """Yield each liking question with liking, groups and preference map; a sentence where one cannot be answered."""
    from panel.answers import LIKING, PREFERENCE_MAP, SEGMENTS, NoAnswer
    from panel.models.consumers.answers import questions_of

    for question in questions_of(answers.study, "liking"):
        if versus is None:
            found = answers.ask(LIKING, question=question)
        else:  # what was named has to be there
            found = answers.need(LIKING, question=question, versus=versus)
        also = (answers.ask(SEGMENTS, question=question), answers.ask(PREFERENCE_MAP, question=question))
        result, segments, mapped = (each.why if isinstance(each, NoAnswer) else each for each in (found, *also))
        yield question, result, segments, mapped


def _liking_as_data(answers: Answers, versus: str | None) -> Iterator[dict[str, Any]]:
    for question, result, segments, mapped in _asked_liking(answers, versus):
        if isinstance(result, str):
            yield {"question": question, "why_not": result}
            continue
        yield (
            parts_of(result, *_LIKING)
            | told_level()
            | parts_of(result.answers, "unread", "n_consumers")
            | {"segments": _part(segments, _SEGMENTS), "preferences": _part(mapped, _PREFERENCES)}
        )


def _part(result: Any, names: tuple[str, ...]) -> dict[str, Any]:
    """Return the named parts of a result; the sentence that says why there is none."""
    return {"why_not": result} if isinstance(result, str) else parts_of(result, *names, "method", "notes")


def _held(result: Any) -> dict[str, Any]:
    """Return everything a result holds; a result inside it as a mapping of its own."""
    from panel.answers import NoAnswer

    if isinstance(result, NoAnswer):
        return {"why_not": result.why}
    found = {each.name: getattr(result, each.name) for each in fields(result)}
    return {name: _held(value) if is_dataclass(value) else value for name, value in found.items()}


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
@all_option
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
    if choices is not None:
        content |= parts_of(choices, "tests", "sessions", "repeated", "unread") | told_level()
    if preferences is not None:
        content |= {"preferences": preferences.counts, "preference_ways": preferences.ways} | told_level()
        content["preferences_unread"] = preferences.unread
    found = [each for each in (choices, preferences) if each is not None]
    notes = [note for each in found for note in each.notes]
    return content | {"method": " ".join(each.method for each in found), "notes": notes}
