"""Part 10: settings, versions, answers with intervals, families of tests, and what other ways of looking say.

`TABLES` says which tables of numbers stand in the evidence file, for the file and for the way back; a view with several
of them names its own in `NUMBERS`.
"""

from __future__ import annotations

import platform
from collections.abc import Callable, Iterable, Mapping
from importlib.metadata import version
from types import MappingProxyType
from typing import Any

import pandas as pd

import panel
from panel.answers import (
    AGREEMENT,
    CHECK_ALL,
    DECISION,
    DIFFERENCES,
    FORCED_CHOICES,
    JUST_ABOUT_RIGHT,
    LADDER,
    LIKING,
    MAP,
    PANEL,
    PREFERENCE_MAP,
    PREFERENCES,
    RANKS,
    READINGS,
    SCALE_USE,
    SEGMENTS,
    SENSITIVITY,
    SWAPS,
    Answers,
    NoAnswer,
    Question,
)
from panel.models.consumers.answers import questions_of
from panel.report.contents.blocks import (
    Block,
    Numbers,
    Section,
    TextTable,
    not_there,
    numbers_of,
    or_gap,
    points,
    said,
    told_blocks,
)
from panel.report.contents.part_study import consumers_only, no_panel
from panel.stats.comparing.multiplicity import LEVEL
from panel.study.naming import naming
from panel.study.shown import Table
from panel.views.assessors import people
from panel.views.consumers import agreement, check_all, choices, just_about_right, liking, preference_map, segments
from panel.views.decision import decide
from panel.views.emollients import causes, ladder, readings, swaps
from panel.views.emollients.blends import alias_sentences
from panel.views.prototypes import alike, differences, other_ways
from panel.views.prototypes import map as prototype_map
from panel.views.told import Told

TABLES: Mapping[Question[Any], tuple[Table, ...]] = MappingProxyType(
    {
        PANEL: people.NUMBERS,
        DIFFERENCES: differences.NUMBERS,
        MAP: prototype_map.NUMBERS,
        SWAPS: swaps.NUMBERS,
        LADDER: (ladder.PREDICTION,),
        READINGS: readings.NUMBERS,
        LIKING: liking.NUMBERS,
        SEGMENTS: (segments.SEGMENT_MEANS,),
        PREFERENCE_MAP: (preference_map.SENSATIONS,),
        JUST_ABOUT_RIGHT: (just_about_right.DROPS,),
        CHECK_ALL: check_all.NUMBERS,
        AGREEMENT: agreement.NUMBERS,
        PREFERENCES: (choices.PREFERENCES,),
        FORCED_CHOICES: (choices.CHOICES,),
        SENSITIVITY: (alike.SMALLEST,),
        RANKS: (other_ways.RANKS,),
        SCALE_USE: (other_ways.SCALE_USE,),
        DECISION: decide.NUMBERS,
    }
)


def tables_of(answers: Answers, question: Question[Any]) -> list[Numbers | NoAnswer]:
    """Return the tables of the answer to a question, each with the ids of its rows or why it is not there."""
    return [numbers_of(answers, question, table) for table in TABLES[question]]


def _settings(answers: Answers) -> list[Block]:
    """Return what the analysis was run with."""
    found = answers.differences
    rows = [("Program", f"Afterfeel {panel.__version__}"), ("Python", platform.python_version())]
    rows += [(name, version(name)) for name in ("numpy", "scipy", "pandas", "matplotlib")]
    rows += [("Seed of everything that is drawn", f"{answers.seed:d}")]
    if not isinstance(found, NoAnswer):
        margin = f"{naming(answers.study).margins(found.margins)} (scale units)" if found.margins else "none stated"
        rows += [("Level of the intervals", f"{100 * LEVEL:g} %"), ("Difference that matters", margin)]
        rows += [("Compared with", found.benchmark or "no benchmark: all pairs")]
        rows += [("Family: tests of the attributes", f"{len(found.attributes)} attributes, Holm")]
        rows += [("Family: differences from the benchmark", "within each attribute, Dunnett")]
        rows += [("Family: all pairs", "within each attribute, Tukey")]
    shown = pd.DataFrame(rows, columns=["Setting", "Value"], dtype="str")
    return [said("subheading", "Settings and versions"), TextTable("What the analysis was made with", shown)]


def _answered(answers: Answers, title: str, question: Question[Any], tell: Callable[..., Told]) -> list[Block]:
    """Return under a title what is told of the answer to a question, with its tables, or why there is none."""
    found, heading = answers.ask(question), said("subheading", title)
    if isinstance(found, NoAnswer):
        return [heading, not_there(found)]
    return [heading, *told_blocks(answers.tell(tell, found), *tables_of(answers, question))]


def _differences(answers: Answers) -> list[Block]:
    title = "Differences between the prototypes (trained panel)"
    blocks, found = _answered(answers, title, DIFFERENCES, differences.tell_differences), answers.differences
    absent = [] if isinstance(found, NoAnswer) else found.not_estimated.to_dict("records")
    told = [f"{answers.names.attribute(row['attribute'])} was not compared: {row['why']}." for row in absent]
    return [*blocks, *(said("gap", each) for each in told)]


def _sensitivity(answers: Answers) -> list[Block]:
    blocks: list[Block] = [said("subheading", "Sensitivity: the differences looked at in other ways")]
    asked: list[tuple[Question[Any], Callable[..., Told]]]
    asked = [(SENSITIVITY, alike.tell_sensitivity), (RANKS, other_ways.tell_ranks)]
    for question, tell in asked:
        found = answers.ask(question)
        if not isinstance(found, NoAnswer):
            blocks.append(said("paragraph", answers.tell(tell, found).headline))
        blocks += map(or_gap, tables_of(answers, question))
    scale, tables = answers.scale_use, tables_of(answers, SCALE_USE)
    if isinstance(scale, NoAnswer):
        return [*blocks, *map(or_gap, tables)]
    return [*blocks, *told_blocks(answers.tell(other_ways.tell_scale_use, scale), *tables)]


def analysis(answers: Answers) -> Section:
    """Return settings and results."""
    if consumers_only(answers.study):
        parts = [_settings(answers), no_panel("Scores of a trained panel"), _instruments(answers), _consumers(answers)]
    else:
        mapped = _answered(answers, "Map", MAP, prototype_map.tell_map)
        parts = [_settings(answers), _differences(answers), mapped, _emollients(answers)]
        parts += [_instruments(answers), _consumers(answers), _sensitivity(answers)]
    return Section("10", "Analysis and results", tuple(block for part in parts for block in part))


def _emollients(answers: Answers) -> list[Block]:
    found, names = answers.swaps, answers.names
    heading = said("subheading", "What changed with the emollients")
    if isinstance(found, NoAnswer):
        return [heading, not_there(found)]
    told = causes.tell_causes(answers.causes, names, *swaps.swap_drawers(found, names))
    return [
        *(heading, *points(alias_sentences(found))),
        *(*told_blocks(told, *tables_of(answers, SWAPS)), *_ladder(answers)),
    ]


def _ladder(answers: Answers) -> Iterable[Block]:
    found = answers.ladder
    if isinstance(found, NoAnswer):
        return [said("gap", found.why)]
    told = answers.tell(ladder.tell_ladder, found)
    steps = told.shown(ladder.LADDER)
    blocks: list[Block] = [said("paragraph", told.headline), TextTable(steps.title, steps.texts)]
    return [*blocks, *map(or_gap, tables_of(answers, LADDER)), *points(told.cannot)]


def _instruments(answers: Answers) -> list[Block]:
    title = "Instrument readings beside the panel"
    if answers.study.table("readings").empty and answers.study.table("curves").empty:
        return [said("subheading", title), said("paragraph", "Instrument readings: not part of this study.")]
    return _answered(answers, title, READINGS, readings.tell_readings)


def _consumers(answers: Answers) -> list[Block]:
    if answers.study.table("answers").empty:
        return [said("subheading", "Consumers"), said("paragraph", "Consumer answers: not part of this study.")]
    blocks = [*_liking(answers), *_groups(answers)]
    return [*blocks, *(block for asked in _ASKED for block in _answered(answers, *asked))]


_ASKED: tuple[tuple[str, Question[Any], Callable[..., Told]], ...] = (
    ("Just about right (consumers)", JUST_ABOUT_RIGHT, just_about_right.tell_just_about_right),
    ("Check all that apply (consumers)", CHECK_ALL, check_all.tell_check_all),
    ("Agreement with statements (consumers)", AGREEMENT, agreement.tell_agreement),
    ("Paired preference (consumers)", PREFERENCES, choices.tell_preferences),
    ("Forced choice", FORCED_CHOICES, choices.tell_forced_choices),
)


def _liking(answers: Answers) -> list[Block]:
    blocks, found = _answered(answers, "Liking (consumers)", LIKING, liking.tell_liking), answers.liking
    if isinstance(found, NoAnswer):
        return blocks
    others = [name for name in questions_of(answers.study, "liking") if name != found.question]
    if others:
        blocks.append(said("gap", f"Other liking questions were asked and are not in this file: {', '.join(others)}."))
    return blocks


def _groups(answers: Answers) -> list[Block]:
    blocks, mapped = _answered(answers, "Groups of consumers", SEGMENTS, segments.tell_segments), answers.preference_map
    if isinstance(answers.segments, NoAnswer) or consumers_only(answers.study):
        return blocks
    sensations = tables_of(answers, PREFERENCE_MAP)
    if isinstance(mapped, NoAnswer):
        return [*blocks, *map(or_gap, sensations)]
    return [*blocks, *told_blocks(answers.tell(preference_map.tell_preference_map, mapped), *sensations)]
