"""The evidence file of a study: a summary, then the parts of the checklist in order, each there or its gap named."""

from __future__ import annotations

import panel
from panel.report.contents import part_claims, part_close, part_conduct, part_data, part_people, part_product
from panel.report.contents.blocks import Report, Section
from panel.report.contents.days import report_day
from panel.report.contents.part_analysis import analysis
from panel.report.contents.part_consumers import consumers
from panel.report.contents.part_emollients import emollients, instruments
from panel.report.contents.parts import fact
from panel.report.contents.results import Results
from panel.report.contents.summary import summary
from panel.study.rehearsed import is_rehearsed
from panel.study.study import Study

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
        part_product.product(results),
        part_product.safety(results),
        part_conduct.protocol(results),
        part_people.who_judged(results),
        part_conduct.blinding(results),
        part_conduct.ballot(results),
        part_data.raw_data(results),
        analysis(results, emollients(results), instruments(results), consumers(results)),
        part_product.references(results),
        part_close.limits(results),
        part_claims.wording(results),
        part_close.sign_offs(results),
        part_close.expiry(results),
        part_close.decision(results),
    )
