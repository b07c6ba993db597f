"""Part 10: settings, versions, answers with intervals, families of tests, and what other ways of looking say."""

from __future__ import annotations

import platform
from collections.abc import Callable, Iterable
from importlib.metadata import version

import pandas as pd

import panel
from panel.answers import (
    AGREEMENT,
    CHECK_ALL,
    DIFFERENCES,
    FORCED_CHOICES,
    JUST_ABOUT_RIGHT,
    LADDER,
    LIKING,
    MAP,
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
)
from panel.models.consumers.answers import questions_of
from panel.models.emollients.causes import find_causes
from panel.report.contents.blocks import (
    Block,
    Section,
    TextTable,
    not_there,
    numbers_of,
    or_gap,
    points,
    said,
    told_blocks,
)
from panel.views.consumers import choices
from panel.views.consumers.agreement import BARS, STATEMENTS, tell_agreement
from panel.views.consumers.check_all import LIFT, TERM_COUNTS, TERM_PAIRS, TERM_TESTS, tell_check_all
from panel.views.consumers.just_about_right import DROPS, tell_just_about_right
from panel.views.consumers.liking import LIKING_MEANS, LIKING_PAIRS, LIKING_TESTS, LIKING_TOP, tell_liking
from panel.views.consumers.preference_map import SENSATIONS, tell_preference_map
from panel.views.consumers.segments import SEGMENT_MEANS, tell_segments
from panel.views.emollients import swaps as swap_views
from panel.views.emollients.blends import alias_sentences
from panel.views.emollients.causes import tell_causes
from panel.views.emollients.ladder import LADDER as LADDER_STEPS
from panel.views.emollients.ladder import PREDICTION, tell_ladder
from panel.views.emollients.readings import PARTNERS, READING_SWAPS, tell_readings
from panel.views.emollients.readings import READINGS as READINGS_TABLE
from panel.views.prototypes import other_ways
from panel.views.prototypes.differences import (
    FROM_BENCHMARK,
    MEANS,
    PAIRS,
    SMALLEST,
    TESTS,
    VARIANCES,
    WITHOUT_LUCK,
    tell_differences,
    tell_sensitivity,
)
from panel.views.prototypes.map import COMPONENTS, LOADINGS, PLACES, tell_map
from panel.views.prototypes.other_ways import SCALE_USE as USE_OF_SCALE
from panel.views.prototypes.other_ways import tell_scale_use

_LIBRARIES = ("numpy", "scipy", "pandas", "matplotlib")


def settings(answers: Answers) -> list[Block]:
    """Return what the analysis was run with."""
    found = answers.differences
    rows = [("Program", f"Afterfeel {panel.__version__}"), ("Python", platform.python_version())]
    rows += [(name, version(name)) for name in _LIBRARIES]
    rows += [("Seed of everything that is drawn", f"{answers.seed:d}")]
    if not isinstance(found, NoAnswer):
        margin = f"{found.margin:g} scale units" if found.margin is not None else "none stated"
        rows += [("Level of the intervals", f"{100 * found.level:g} %"), ("Difference that matters", margin)]
        rows += [("Compared with", found.benchmark or "no benchmark: all pairs")]
        rows += [("Family: tests of the attributes", f"{len(found.attributes)} attributes, Holm")]
        rows += [("Family: differences from the benchmark", "within each attribute, Dunnett")]
        rows += [("Family: all pairs", "within each attribute, Tukey")]
    shown = pd.DataFrame(rows, columns=["Setting", "Value"], dtype="str")
    return [said("subheading", "Settings and versions"), TextTable("Settings and versions", shown)]


def differences(answers: Answers) -> list[Block]:
    """Return what the trained panel says of the prototypes."""
    found = answers.differences
    blocks: list[Block] = [said("subheading", "Differences between the prototypes (trained panel)")]
    if isinstance(found, NoAnswer):
        return [*blocks, said("gap", found.why)]
    shown = (MEANS, TESTS, FROM_BENCHMARK, WITHOUT_LUCK, PAIRS, VARIANCES)
    tables = (numbers_of(answers, DIFFERENCES, table) for table in shown)
    gaps = [
        said("gap", f"{row['attribute']} was not compared: {row['why']}.")
        for row in found.not_estimated.to_dict("records")
    ]
    return [*blocks, *told_blocks(answers.tell(tell_differences, found), *tables), *gaps]


def _map_part(answers: Answers) -> list[Block]:
    """Return the map of the prototypes."""
    found, names = answers.map, answers.names
    blocks: list[Block] = [said("subheading", "Map")]
    if isinstance(found, NoAnswer):
        return [*blocks, said("gap", found.why)]
    tables = (numbers_of(answers, MAP, table) for table in (COMPONENTS, PLACES, LOADINGS))
    return [*blocks, *told_blocks(tell_map(found, names), *tables)]


def sensitivity(answers: Answers) -> list[Block]:
    """Return the other ways of looking at the differences."""
    names = answers.names
    blocks: list[Block] = [said("subheading", "Sensitivity: the differences looked at in other ways")]
    could, by_rank, scale = answers.sensitivity, answers.ranks, answers.scale_use
    if not isinstance(could, NoAnswer):
        blocks.append(said("paragraph", tell_sensitivity(could, names).headline))
    blocks.append(or_gap(numbers_of(answers, SENSITIVITY, SMALLEST)))
    if not isinstance(by_rank, NoAnswer):
        blocks.append(said("paragraph", other_ways.tell_ranks(by_rank, names).headline))
    blocks.append(or_gap(numbers_of(answers, RANKS, other_ways.RANKS)))
    table = numbers_of(answers, SCALE_USE, USE_OF_SCALE)
    return [
        *blocks,
        *([or_gap(table)] if isinstance(scale, NoAnswer) else told_blocks(tell_scale_use(scale, names), table)),
    ]


def analysis(answers: Answers, *more: list[Block]) -> Section:
    """Return settings and results; `more` are the parts on emollients, readings and consumers."""
    parts = [settings(answers), differences(answers), _map_part(answers), *more, sensitivity(answers)]
    return Section("10", "Analysis and results", tuple(block for part in parts for block in part))


# The part of the answers on emollients and instrument readings: what the swaps did, and how far that can be
# traced.


def emollients(answers: Answers) -> list[Block]:
    """Return what made the difference."""
    found, names = answers.swaps, answers.names

    def make() -> Iterable[Block]:
        if isinstance(found, NoAnswer):
            return
        decision = answers.decision
        causes = find_causes(found, None if isinstance(decision, NoAnswer) else decision)
        shown = (swap_views.SWAPS, swap_views.WITHOUT_LUCK, swap_views.INTERACTIONS)
        tables = [numbers_of(answers, SWAPS, table) for table in shown]
        yield from points(alias_sentences(found))
        yield from told_blocks(tell_causes(causes, names, *swap_views.swap_drawers(found, names)), *tables)
        yield from _ladder(answers)

    return _told("What changed with the emollients", found, make)


def _ladder(answers: Answers) -> Iterable[Block]:
    found = answers.ladder
    if isinstance(found, NoAnswer):
        return [said("gap", found.why)]
    told = answers.tell(tell_ladder, found)
    steps = told.shown(LADDER_STEPS)
    blocks: list[Block] = [said("paragraph", told.headline), TextTable(steps.title, steps.texts)]
    return [*blocks, or_gap(numbers_of(answers, LADDER, PREDICTION)), *points(told.cannot)]


def instruments(answers: Answers) -> list[Block]:
    """Return what the instruments say beside the panel."""
    if answers.study.table("readings").empty and answers.study.table("curves").empty:
        return [said("subheading", _INSTRUMENTS), said("paragraph", "Instrument readings: not part of this study.")]
    found, names = answers.readings, answers.names

    def make() -> Iterable[Block]:
        if not isinstance(found, NoAnswer):
            tables = (numbers_of(answers, READINGS, table) for table in (READINGS_TABLE, PARTNERS, READING_SWAPS))
            yield from told_blocks(tell_readings(found, names), *tables)

    return _told(_INSTRUMENTS, found, make)


_INSTRUMENTS = "Instrument readings beside the panel"


# The answers on consumers: liking, groups, just about right, terms, agreement, preference, forced choice.


def consumers(answers: Answers) -> list[Block]:
    """Return what consumers said, kind by kind."""
    if answers.study.table("answers").empty:
        return [said("subheading", "Consumers"), said("paragraph", "Consumer answers: not part of this study.")]
    parts = (_liking, _groups, _just_about_right, _terms, _agreement, _preferences, _forced_choices)
    return [block for part in parts for block in part(answers)]


def _told(title: str, found: object, make: Callable[[], Iterable[Block]]) -> list[Block]:
    """Return a part under its title, or why it is not there."""
    told: Iterable[Block] = (not_there(found),) if isinstance(found, NoAnswer) else make()
    return [said("subheading", title), *told]


def _liking(answers: Answers) -> list[Block]:
    found = answers.liking

    def make() -> Iterable[Block]:
        if isinstance(found, NoAnswer):
            return
        tables = (
            numbers_of(answers, LIKING, table) for table in (LIKING_MEANS, LIKING_TESTS, LIKING_PAIRS, LIKING_TOP)
        )
        yield from told_blocks(answers.tell(tell_liking, found), *tables)
        others = [name for name in questions_of(answers.study, "liking") if name != found.question]
        if others:
            yield said("gap", f"Other liking questions were asked and are not in this file: {', '.join(others)}.")

    return _told("Liking (consumers)", found, make)


def _groups(answers: Answers) -> list[Block]:
    found, mapped, names = answers.segments, answers.preference_map, answers.names

    def make() -> Iterable[Block]:
        if isinstance(found, NoAnswer):
            return
        yield from told_blocks(tell_segments(found, names), numbers_of(answers, SEGMENTS, SEGMENT_MEANS))
        sensations = numbers_of(answers, PREFERENCE_MAP, SENSATIONS)
        if isinstance(mapped, NoAnswer):
            yield or_gap(sensations)
        else:
            yield from told_blocks(tell_preference_map(mapped, names), sensations)

    return _told("Groups of consumers", found, make)


def _just_about_right(answers: Answers) -> list[Block]:
    found, names = answers.just_about_right, answers.names

    def make() -> Iterable[Block]:
        if not isinstance(found, NoAnswer):
            yield from told_blocks(tell_just_about_right(found, names), numbers_of(answers, JUST_ABOUT_RIGHT, DROPS))

    return _told("Just about right (consumers)", found, make)


def _terms(answers: Answers) -> list[Block]:
    found, names = answers.check_all, answers.names

    def make() -> Iterable[Block]:
        if not isinstance(found, NoAnswer):
            tables = (numbers_of(answers, CHECK_ALL, table) for table in (TERM_COUNTS, TERM_TESTS, LIFT, TERM_PAIRS))
            yield from told_blocks(tell_check_all(found, names), *tables)

    return _told("Check all that apply (consumers)", found, make)


def _agreement(answers: Answers) -> list[Block]:
    found, names = answers.agreement, answers.names

    def make() -> Iterable[Block]:
        if not isinstance(found, NoAnswer):
            tables = (numbers_of(answers, AGREEMENT, table) for table in (STATEMENTS, BARS))
            yield from told_blocks(tell_agreement(found, names), *tables)

    return _told("Agreement with statements (consumers)", found, make)


def _preferences(answers: Answers) -> list[Block]:
    found, names = answers.preferences, answers.names

    def make() -> Iterable[Block]:
        if not isinstance(found, NoAnswer):
            table = numbers_of(answers, PREFERENCES, choices.PREFERENCES)
            yield from told_blocks(choices.tell_preferences(found, names), table)

    return _told("Paired preference (consumers)", found, make)


def _forced_choices(answers: Answers) -> list[Block]:
    found, names = answers.forced_choices, answers.names

    def make() -> Iterable[Block]:
        if not isinstance(found, NoAnswer):
            table = numbers_of(answers, FORCED_CHOICES, choices.CHOICES)
            yield from told_blocks(choices.tell_forced_choices(found, names), table)

    return _told("Forced choice", found, make)
