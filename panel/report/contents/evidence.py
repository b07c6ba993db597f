"""The evidence file of a study: a summary, then the parts of the checklist in order, each there or its gap named."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from types import MappingProxyType

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
)
from panel.errors import StudyError
from panel.report.contents import part_claims, part_study, tables
from panel.report.contents.blocks import Maker, Report, Section, described, fact
from panel.report.contents.case import as_annex, claim_pages, protocol, summary
from panel.report.contents.part_results import analysis, consumers, emollients, instruments
from panel.report.contents.part_study import balance, last_score
from panel.report.elsewhere import work_out
from panel.study.study import Study
from panel.views.assessors.people import EACH_ON_EACH, MEASURED, PEOPLE, WITHOUT
from panel.views.consumers import choices
from panel.views.consumers.agreement import BARS, STATEMENTS
from panel.views.consumers.check_all import LIFT, TERM_COUNTS, TERM_PAIRS, TERM_TESTS
from panel.views.consumers.just_about_right import DROPS
from panel.views.consumers.liking import LIKING_MEANS, LIKING_PAIRS, LIKING_TESTS, LIKING_TOP
from panel.views.consumers.preference_map import SENSATIONS
from panel.views.consumers.segments import SEGMENT_MEANS
from panel.views.decision import decide
from panel.views.emollients import readings, swaps
from panel.views.emollients.ladder import PREDICTION
from panel.views.planning.study import mark
from panel.views.prototypes import other_ways
from panel.views.prototypes.differences import (
    BOTH_WAYS,
    FROM_BENCHMARK,
    MEANS,
    PAIRS,
    SMALLEST,
    TESTS,
    VARIANCES,
    WITHOUT_LUCK,
)
from panel.views.prototypes.map import COMPONENTS, LOADINGS, PLACES


def evidence_report(study: Study, *, rng_seed: int = 1, made_on: str = "") -> Report:
    """Return the evidence file of a study, before it is written in any form.

    Every result is computed once, about half of them by a second process. Pictures are drawn when a writer asks for
    them.

    Parameters
    ----------
    rng_seed
        Seed of everything that is drawn; it stands in the file.
    made_on
        The day that stands as the day of making (ISO 8601); today by default.
    """
    answers = Answers(study, rng_seed)
    work_out(answers)
    return report_of(answers, made_on=made_on)


def report_of(answers: Answers, *, made_on: str = "") -> Report:
    """Return the evidence file made of answers; the same answers and the same day give the same file.

    Raises
    ------
    StudyError
        If the day is no date.
    """
    study, day = answers.study, _day(made_on)
    version, sections, claims = f"Afterfeel {panel.__version__}", _sections(answers), claim_pages(answers)
    case = summary(answers, sections, made_on=day, version=version, mark=mark(study))
    return Report(
        title=fact(study, "title") or "Study without a title",
        mark=mark(study),
        data_as_of=last_score(study),
        made_on=day,
        data_hash=answers.study.content_hash,
        version=version,
        summary=case,
        claims=claims,
        sections=as_annex(answers, (case,), sections),
    )


def _day(made_on: str) -> str:
    if not made_on:
        return date.today().isoformat()
    try:
        return date.fromisoformat(made_on).isoformat()
    except ValueError:
        raise StudyError(f"{made_on!r} is no day. Give the day the file is made as YEAR-MONTH-DAY.") from None


def _sections(answers: Answers) -> tuple[Section, ...]:
    return (
        part_claims.claim_sheet(answers),
        part_claims.evidence_of_claims(answers),
        part_study.product(answers),
        part_study.safety(answers),
        protocol(answers),
        part_study.who_judged(answers),
        part_study.blinding(answers),
        part_study.ballot(answers),
        part_study.raw_data(answers),
        analysis(answers, emollients(answers), instruments(answers), consumers(answers)),
        part_study.references(answers),
        part_claims.limits(answers, part_study.days_told(answers.study)),
        part_claims.wording(answers),
        part_claims.sign_offs(answers),
        part_claims.expiry(answers),
        part_claims.decision(answers),
    )


# Which table has which letters, and how is it made?


TABLE_MAKERS: Mapping[str, Maker] = MappingProxyType(
    {
        "CL": tables.verdicts,
        "CN": tables.all_numbers,
        "F": tables.formulas,
        "BT": tables.batches,
        "P": described(PANEL, PEOPLE),
        "Q": described(PANEL, MEASURED),
        "W": described(PANEL, WITHOUT),
        "PA": described(PANEL, EACH_ON_EACH),
        "N": lambda answers: balance(answers, "trained"),
        "NC": lambda answers: balance(answers, "consumer"),
        "B": described(DIFFERENCES, BOTH_WAYS),
        "M": described(DIFFERENCES, MEANS),
        "T": described(DIFFERENCES, TESTS),
        "D": described(DIFFERENCES, FROM_BENCHMARK),
        "DL": described(DIFFERENCES, WITHOUT_LUCK),
        "A": described(DIFFERENCES, PAIRS),
        "V": described(DIFFERENCES, VARIANCES),
        "S": described(SWAPS, swaps.SWAPS),
        "SL": described(SWAPS, swaps.WITHOUT_LUCK),
        "SI": described(SWAPS, swaps.INTERACTIONS),
        "L": described(LADDER, PREDICTION),
        "C": described(MAP, COMPONENTS),
        "CP": described(MAP, PLACES),
        "CA": described(MAP, LOADINGS),
        "R": described(READINGS, readings.READINGS),
        "RP": described(READINGS, readings.PARTNERS),
        "RS": described(READINGS, readings.READING_SWAPS),
        "H": described(LIKING, LIKING_MEANS),
        "HT": described(LIKING, LIKING_TESTS),
        "HA": described(LIKING, LIKING_PAIRS),
        "HB": described(LIKING, LIKING_TOP),
        "G": described(SEGMENTS, SEGMENT_MEANS),
        "HS": described(PREFERENCE_MAP, SENSATIONS),
        "J": described(JUST_ABOUT_RIGHT, DROPS),
        "X": described(CHECK_ALL, TERM_COUNTS),
        "XT": described(CHECK_ALL, TERM_TESTS),
        "XL": described(CHECK_ALL, LIFT),
        "XA": described(CHECK_ALL, TERM_PAIRS),
        "Y": described(AGREEMENT, STATEMENTS),
        "YB": described(AGREEMENT, BARS),
        "E": described(PREFERENCES, choices.PREFERENCES),
        "FC": described(FORCED_CHOICES, choices.CHOICES),
        "DE": described(DECISION, decide.RANKING),
        "DW": described(DECISION, decide.WINDOWS),
        "DG": described(DECISION, decide.GATES),
        "DP": described(DECISION, decide.PAIRS),
        "Z": described(SENSITIVITY, SMALLEST),
        "K": described(RANKS, other_ways.RANKS),
        "U": described(SCALE_USE, other_ways.SCALE_USE),
    }
)
"""Letters to the function that makes the table; `tests/report` holds that the report uses these and no others."""
