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
from panel.study.naming import Naming, naming
from panel.study.shown import Table
from panel.views.assessors import people
from panel.views.consumers import (
    agreement,
    check_all,
    choices,
    just_about_right,
    liking,
    preference_map,
    segments,
)
from panel.views.consumers.agreement import tell_agreement
from panel.views.consumers.check_all import tell_check_all
from panel.views.consumers.just_about_right import tell_just_about_right
from panel.views.consumers.liking import tell_liking
from panel.views.consumers.preference_map import tell_preference_map
from panel.views.consumers.segments import tell_segments
from panel.views.decision import decide
from panel.views.emollients import ladder, readings, swaps
from panel.views.emollients.blends import alias_sentences
from panel.views.emollients.causes import tell_causes
from panel.views.emollients.ladder import tell_ladder
from panel.views.emollients.readings import tell_readings
from panel.views.prototypes import differences as difference_views
from panel.views.prototypes import map as prototype_map
from panel.views.prototypes import other_ways
from panel.views.prototypes.alike import SMALLEST, tell_sensitivity
from panel.views.prototypes.differences import tell_differences
from panel.views.prototypes.map import tell_map
from panel.views.prototypes.other_ways import tell_scale_use
from panel.views.told import Told

TABLES: Mapping[Question[Any], tuple[Table, ...]] = MappingProxyType(
    {
        PANEL: people.NUMBERS,
        DIFFERENCES: difference_views.NUMBERS,
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
        SENSITIVITY: (SMALLEST,),
        RANKS: (other_ways.RANKS,),
        SCALE_USE: (other_ways.SCALE_USE,),
        DECISION: decide.NUMBERS,
    }
)


def tables_of(answers: Answers, question: Question[Any]) -> list[Numbers | NoAnswer]:
    """Return the tables of the answer to a question, each with the ids of its rows or why it is not there."""
    return [numbers_of(answers, question, table) for table in TABLES[question]]


_LIBRARIES = ("numpy", "scipy", "pandas", "matplotlib")


def settings(answers: Answers) -> list[Block]:
    """Return what the analysis was run with."""
    found = answers.differences
    rows = [("Program", f"Afterfeel {panel.__version__}"), ("Python", platform.python_version())]
    rows += [(name, version(name)) for name in _LIBRARIES]
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


def differences(answers: Answers) -> list[Block]:
    """Return what the trained panel says of the prototypes."""
    found = answers.differences
    blocks: list[Block] = [said("subheading", "Differences between the prototypes (trained panel)")]
    if isinstance(found, NoAnswer):
        return [*blocks, said("gap", found.why)]
    tables = tables_of(answers, DIFFERENCES)
    gaps = [
        said("gap", f"{answers.names.attribute(row['attribute'])} was not compared: {row['why']}.")
        for row in found.not_estimated.to_dict("records")
    ]
    return [*blocks, *told_blocks(answers.tell(tell_differences, found), *tables), *gaps]


def _map_part(answers: Answers) -> list[Block]:
    """Return the map of the prototypes."""
    found, names = answers.map, answers.names
    blocks: list[Block] = [said("subheading", "Map")]
    if isinstance(found, NoAnswer):
        return [*blocks, said("gap", found.why)]
    return [*blocks, *told_blocks(tell_map(found, names), *tables_of(answers, MAP))]


def sensitivity(answers: Answers) -> list[Block]:
    """Return the other ways of looking at the differences."""
    names = answers.names
    blocks: list[Block] = [said("subheading", "Sensitivity: the differences looked at in other ways")]
    could, by_rank, scale = answers.sensitivity, answers.ranks, answers.scale_use
    if not isinstance(could, NoAnswer):
        blocks.append(said("paragraph", tell_sensitivity(could, names).headline))
    blocks += map(or_gap, tables_of(answers, SENSITIVITY))
    if not isinstance(by_rank, NoAnswer):
        blocks.append(said("paragraph", other_ways.tell_ranks(by_rank, names).headline))
    blocks += map(or_gap, tables_of(answers, RANKS))
    tables = tables_of(answers, SCALE_USE)
    return [
        *blocks,
        *(map(or_gap, tables) if isinstance(scale, NoAnswer) else told_blocks(tell_scale_use(scale, names), *tables)),
    ]


def analysis(answers: Answers) -> Section:
    """Return settings and results."""
    if consumers_only(answers.study):
        parts = [settings(answers), no_panel("Scores of a trained panel"), instruments(answers), consumers(answers)]
    else:
        parts = [settings(answers), differences(answers), _map_part(answers), emollients(answers)]
        parts += [instruments(answers), consumers(answers), sensitivity(answers)]
    return Section("10", "Analysis and results", tuple(block for part in parts for block in part))


# The part of the answers on emollients and instrument readings: what the swaps did, and how far that can be
# traced.


def emollients(answers: Answers) -> list[Block]:
    """Return what each swap went with."""
    found, names = answers.swaps, answers.names
    heading = said("subheading", "What changed with the emollients")
    if isinstance(found, NoAnswer):
        return [heading, not_there(found)]
    told = tell_causes(answers.causes, names, *swaps.swap_drawers(found, names))
    return [
        *(heading, *points(alias_sentences(found))),
        *(*told_blocks(told, *tables_of(answers, SWAPS)), *_ladder(answers)),
    ]


def _ladder(answers: Answers) -> Iterable[Block]:
    found = answers.ladder
    if isinstance(found, NoAnswer):
        return [said("gap", found.why)]
    told = answers.tell(tell_ladder, found)
    steps = told.shown(ladder.LADDER)
    blocks: list[Block] = [said("paragraph", told.headline), TextTable(steps.title, steps.texts)]
    return [*blocks, *map(or_gap, tables_of(answers, LADDER)), *points(told.cannot)]


def instruments(answers: Answers) -> list[Block]:
    """Return what the instruments say beside the panel."""
    heading = said("subheading", "Instrument readings beside the panel")
    if answers.study.table("readings").empty and answers.study.table("curves").empty:
        return [heading, said("paragraph", "Instrument readings: not part of this study.")]
    found = answers.readings
    if isinstance(found, NoAnswer):
        return [heading, not_there(found)]
    return [heading, *told_blocks(tell_readings(found, answers.names), *tables_of(answers, READINGS))]


# The answers on consumers: liking, groups, just about right, terms, agreement, preference, forced choice.


def consumers(answers: Answers) -> list[Block]:
    """Return what consumers said, kind by kind."""
    if answers.study.table("answers").empty:
        return [said("subheading", "Consumers"), said("paragraph", "Consumer answers: not part of this study.")]
    blocks = [*_liking(answers), *_groups(answers)]
    for title, question, tell in _ASKED:
        found = answers.ask(question)
        blocks.append(said("subheading", title))
        if isinstance(found, NoAnswer):
            blocks.append(not_there(found))
        else:
            blocks += told_blocks(answers.tell(tell, found), *tables_of(answers, question))
    return blocks


_ASKED: tuple[tuple[str, Question[Any], Callable[[Any, Naming], Told]], ...] = (
    ("Just about right (consumers)", JUST_ABOUT_RIGHT, tell_just_about_right),
    ("Check all that apply (consumers)", CHECK_ALL, tell_check_all),
    ("Agreement with statements (consumers)", AGREEMENT, tell_agreement),
    ("Paired preference (consumers)", PREFERENCES, choices.tell_preferences),
    ("Forced choice", FORCED_CHOICES, choices.tell_forced_choices),
)


def _liking(answers: Answers) -> list[Block]:
    found, heading = answers.liking, said("subheading", "Liking (consumers)")
    if isinstance(found, NoAnswer):
        return [heading, not_there(found)]
    blocks = [heading, *told_blocks(answers.tell(tell_liking, found), *tables_of(answers, LIKING))]
    others = [name for name in questions_of(answers.study, "liking") if name != found.question]
    if others:
        blocks.append(said("gap", f"Other liking questions were asked and are not in this file: {', '.join(others)}."))
    return blocks


def _groups(answers: Answers) -> list[Block]:
    found, mapped, names = answers.segments, answers.preference_map, answers.names
    heading = said("subheading", "Groups of consumers")
    if isinstance(found, NoAnswer):
        return [heading, not_there(found)]
    blocks = [heading, *told_blocks(tell_segments(found, names), *tables_of(answers, SEGMENTS))]
    if consumers_only(answers.study):
        return blocks
    sensations = tables_of(answers, PREFERENCE_MAP)
    if isinstance(mapped, NoAnswer):
        return [*blocks, *map(or_gap, sensations)]
    return [*blocks, *told_blocks(tell_preference_map(mapped, names), *sensations)]
