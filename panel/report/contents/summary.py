"""What does somebody read who has two pages' time? The answer, the claims, what is not established, the limits."""

from __future__ import annotations

from collections.abc import Sequence

from panel.report.contents.blocks import Block, Gap, Paragraph, Section, Subheading
from panel.report.contents.parts import fact, not_there, points
from panel.report.contents.results import NotThere, Results
from panel.report.contents.tables_claims import NO_CLAIMS
from panel.study.knowledge import cautions
from panel.views.assessors.assessor_words import panel_headline
from panel.views.consumers.liking_words import liking_headline
from panel.views.consumers.segment_words import segments_headline
from panel.views.decision.claim_words import claims_headline, what_the_claims_show
from panel.views.decision.decision_words import decision_headline
from panel.views.emollients.ladder_words import ladder_headline
from panel.views.planning.study_words import what_is_in_the_study, what_the_findings_say
from panel.views.prototypes.difference_words import headline, what_the_differences_cannot_show

_GRAVE = ("stop", "warning")


def summary(results: Results, sections: Sequence[Section]) -> Section:
    """Return the summary; `sections` are the parts it stands before."""
    blocks: list[Block] = []
    purpose = fact(results.study, "purpose")
    blocks += [Paragraph(purpose)] if purpose else [Gap("The study does not say what it is for.")]
    blocks += [Subheading("The answer"), *points(_answers(results))]
    blocks += [Subheading("The claims"), *_claims(results)]
    blocks += [Subheading("What is not established"), *points(_not_established(results, sections))]
    blocks += [Subheading("Limits"), *points(_limits(results))]
    return Section("", "Summary", tuple(blocks))


def _answers(results: Results) -> list[str]:
    names, found = results.names, results.differences
    lines = [what_is_in_the_study(results.study)]
    lines.append(f"Trained panel: {found.why if isinstance(found, NotThere) else headline(found, names)}")
    if not isinstance(results.panel, NotThere):
        lines.append(f"Assessors: {panel_headline(results.panel)}")
    if not isinstance(results.ladder, NotThere):
        lines.append(f"Emollients: {ladder_headline(results.ladder)}")
    if not isinstance(results.liking, NotThere):
        lines.append(f"Liking: {liking_headline(results.liking, names)}")
    if not isinstance(results.segments, NotThere):
        lines.append(f"Groups of consumers: {segments_headline(results.segments, names)}")
    if not isinstance(results.decision, NotThere):
        lines.append(f"Choice: {decision_headline(results.decision)}")
    return lines


def _claims(results: Results) -> list[Block]:
    found = results.claims
    if isinstance(found, NotThere):
        return [not_there(found)]
    if found.claims.empty:
        return [Gap(NO_CLAIMS)]
    return [Paragraph(claims_headline(found)), *points(what_the_claims_show(found))]


def _not_established(results: Results, sections: Sequence[Section]) -> list[str]:
    lines = []
    for section in sections:
        if section.gaps:
            more = f" (and {len(section.gaps) - 1} more there)" if len(section.gaps) > 1 else ""
            lines.append(f"Part {section.number}, {section.heading}: {section.gaps[0]}{more}")
    return lines


def _limits(results: Results) -> list[str]:
    grave = [f"{finding.where}: {finding.message}" for finding in results.findings if finding.severity in _GRAVE]
    lines = [f"Of the data: {what_the_findings_say(results.findings)}", *grave]
    if not isinstance(results.differences, NotThere):
        lines += what_the_differences_cannot_show(results.differences)
    known = cautions()
    return [*lines, *known.loc[known["applies"].isin(["always", "with any result", "with any claim"]), "words"]]
