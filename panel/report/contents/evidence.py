"""The evidence file of a study: a summary, then the parts of the checklist in order, each there or its gap named."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType

import panel
from panel.report.contents import part_claims, part_study, tables, tables_consumers
from panel.report.contents.blocks import Numbers, Report, Section, fact
from panel.report.contents.part_claims import summary
from panel.report.contents.part_results import analysis, consumers, emollients, instruments
from panel.report.contents.part_study import balance, report_day
from panel.report.contents.results import NotThere, Results
from panel.study.study import Study, is_rehearsed

REHEARSED = "Rehearsed data, drawn by a program: no evidence of anything"
INVENTED = "Invented data, for trying things out: no evidence of anything"


def evidence_report(study: Study, *, rng_seed: int = 1) -> Report:
    """Return the evidence file of a study, before it is written in any form.

    Every result is computed once, about half of them by a second process. Pictures are drawn when a writer asks for
    them.

    Parameters
    ----------
    rng_seed
        Seed of everything that is drawn; it stands in the file.
    """
    results = Results(study, rng_seed)
    results.work_out()
    return report_of(results)


def report_of(results: Results) -> Report:
    """Return the evidence file made of results."""
    study = results.study
    sections = _sections(results)
    return Report(
        title=fact(study, "title") or "Study without a title",
        mark=mark(study),
        date=report_day(study),
        data_hash=results.data_hash,
        version=f"Afterfeel {panel.__version__}",
        summary=summary(results, sections),
        sections=sections,
    )


def mark(study: Study) -> str:
    """Return the words that stand on every page of a study that is not real; empty for a real one."""
    return REHEARSED if is_rehearsed(study) else INVENTED if study.facts.get("invented") else ""


def _sections(results: Results) -> tuple[Section, ...]:
    return (
        part_claims.claim_sheet(results),
        part_claims.evidence_of_claims(results),
        part_study.product(results),
        part_study.safety(results),
        part_study.protocol(results),
        part_study.who_judged(results),
        part_study.blinding(results),
        part_study.ballot(results),
        part_study.raw_data(results),
        analysis(results, emollients(results), instruments(results), consumers(results)),
        part_study.references(results),
        part_claims.limits(results),
        part_claims.wording(results),
        part_claims.sign_offs(results),
        part_claims.expiry(results),
        part_claims.decision(results),
    )


# Which table has which letters, and how is it made?


Maker = Callable[[Results], Numbers | NotThere]

TABLE_MAKERS: Mapping[str, Maker] = MappingProxyType(
    {
        "CL": tables.verdicts,
        "CN": tables.all_numbers,
        "F": tables.formulas,
        "BT": tables.batches,
        "P": tables.people,
        "Q": tables.panel,
        "W": tables.without,
        "PA": tables.each_assessor,
        "N": lambda results: balance(results, "trained"),
        "NC": lambda results: balance(results, "consumer"),
        "B": tables.both_ways,
        "M": tables.means,
        "T": tables.tests,
        "D": tables.versus,
        "A": tables.pairs,
        "V": tables.variances,
        "C": tables.components,
        "CP": tables.places,
        "CA": tables.loadings,
        "S": tables.swaps,
        "SI": tables.interactions,
        "L": tables.prediction,
        "R": tables.readings,
        "RP": tables.partners,
        "RS": tables.reading_swaps,
        "H": tables_consumers.liking,
        "HT": tables_consumers.liking_tests,
        "HA": tables_consumers.liking_pairs,
        "HB": tables_consumers.liking_boxes,
        "G": tables_consumers.groups,
        "HS": tables_consumers.sensations,
        "J": tables_consumers.drops,
        "X": tables_consumers.terms,
        "XT": tables_consumers.term_tests,
        "XL": tables_consumers.lift,
        "XA": tables_consumers.term_pairs,
        "Y": tables_consumers.statements,
        "YB": tables_consumers.bars,
        "E": tables_consumers.preferences,
        "FC": tables_consumers.forced_choices,
        "DE": tables.ranking,
        "DW": tables.windows,
        "DG": tables.gates,
        "DP": tables.decision_pairs,
        "Z": tables.smallest,
        "K": tables.ranks,
        "U": tables.scale_use,
    }
)
"""Letters to the function that makes the table; `tests/report` holds that the report uses these and no others."""
