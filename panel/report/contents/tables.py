"""Which tables of numbers stand in the evidence file, question by question: once for the file and for the way back."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

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
from panel.report.contents.blocks import Numbers, numbers_of
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
from panel.views.decision import decide
from panel.views.emollients import ladder, readings, swaps
from panel.views.prototypes import differences, other_ways
from panel.views.prototypes import map as prototype_map

TABLES: Mapping[Question[Any], tuple[Table, ...]] = MappingProxyType(
    {
        PANEL: (people.PEOPLE, people.MEASURED, people.WITHOUT, people.EACH_ON_EACH),
        DIFFERENCES: (
            *(differences.MEANS, differences.TESTS, differences.FROM_BENCHMARK),
            *(differences.WITHOUT_LUCK, differences.PAIRS, differences.VARIANCES),
        ),
        MAP: (prototype_map.COMPONENTS, prototype_map.PLACES, prototype_map.LOADINGS),
        SWAPS: (swaps.SWAPS, swaps.WITHOUT_LUCK, swaps.INTERACTIONS),
        LADDER: (ladder.PREDICTION,),
        READINGS: (readings.READINGS, readings.PARTNERS, readings.READING_SWAPS),
        LIKING: (liking.LIKING_MEANS, liking.LIKING_TESTS, liking.LIKING_PAIRS, liking.LIKING_TOP),
        SEGMENTS: (segments.SEGMENT_MEANS,),
        PREFERENCE_MAP: (preference_map.SENSATIONS,),
        JUST_ABOUT_RIGHT: (just_about_right.DROPS,),
        CHECK_ALL: (check_all.TERM_COUNTS, check_all.TERM_TESTS, check_all.LIFT, check_all.TERM_PAIRS),
        AGREEMENT: (agreement.STATEMENTS, agreement.BARS),
        PREFERENCES: (choices.PREFERENCES,),
        FORCED_CHOICES: (choices.CHOICES,),
        SENSITIVITY: (differences.SMALLEST,),
        RANKS: (other_ways.RANKS,),
        SCALE_USE: (other_ways.SCALE_USE,),
        DECISION: (decide.RANKING, decide.WINDOWS, decide.GATES, decide.PAIRS),
    }
)


def tables_of(answers: Answers, question: Question[Any]) -> list[Numbers | NoAnswer]:
    """Return the tables of the answer to a question, each with the ids of its rows or why it is not there."""
    return [numbers_of(answers, question, table) for table in TABLES[question]]
