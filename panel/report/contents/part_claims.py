"""Parts 1, 2 and 13: the claim sheet, which evidence stands behind each claim, and what may be said."""

from __future__ import annotations

from panel.claims.judge import Claims
from panel.claims.verdict import VERDICTS
from panel.models.emollients.readings import JoinedReadings
from panel.report.contents.blocks import Block, Caution, Gap, Paragraph, Section, Subheading, TextTable
from panel.report.contents.matrix import evidence_matrix
from panel.report.contents.parts import not_there, or_gap, points
from panel.report.contents.results import NotThere, Results
from panel.report.contents.tables_claims import NO_CLAIMS, all_numbers, verdicts
from panel.views.decision.claim_words import (
    claims_headline,
    ended,
    footnote_lines,
    kind_words,
    local_law,
    needs_of,
    reasons_of,
    verdict_words,
    what_claims_cannot_show,
    wording_lines,
)
from panel.views.decision.evidence_tables import recorded_table

_SHEET = {
    "claim": "Exact wording",
    "kind": "Kind",
    "prototype": "About",
    "versus": "Compared with",
    "attribute": "Attribute",
    "question": "Question",
    "minutes": "Minutes",
    "margin": "Margin",
    "bar": "Bar",
}
_WHERE = {
    "media": "Media",
    "territory": "Territory",
    "owner": "Owner",
    "stamped_at": "Fixed at",
    "stamped_by": "Fixed by",
}
_MATRIX = {
    "claim": "Claim",
    "panel": "Trained panel",
    "consumers": "Consumers",
    "instruments": "Instruments",
    "strength": "In all",
}


def claim_sheet(results: Results) -> Section:
    """Return the claims in their exact wording, as they were written down."""
    return Section("1", "Claim sheet", tuple(_sheet(results)))


def _sheet(results: Results) -> list[Block]:
    claims = results.study.table("claims")
    if claims.empty:
        return [Gap(NO_CLAIMS)]
    claims = claims.assign(
        kind=claims["kind"].map(kind_words),
        attribute=[results.names.attribute(str(name)) if name else "" for name in claims["attribute"]],
        stamped_at=claims["stamped_at"].str.replace("T", " "),
    )
    filled = {name for name in claims if (claims[name].astype("str").replace("nan", "") != "").any()}
    told = {name: words for name, words in _SHEET.items() if name in filled}
    blocks: list[Block] = [TextTable("Claims as they were written down", recorded_table(claims, told))]
    where = {name: words for name, words in _WHERE.items() if name in filled}
    if where:
        shown = recorded_table(claims, {"claim": "Claim", **where})
        blocks.append(TextTable("Where they are to be made, by whom, and when they were fixed", shown))
    missing = [words.lower() for name, words in _WHERE.items() if name not in filled]
    return [*blocks, Gap(f"Not written down for any claim: {', '.join(missing)}.")] if missing else blocks


def evidence_of_claims(results: Results) -> Section:
    """Return the evidence behind each claim, its strength and its gaps."""
    found = results.claims
    title = "Evidence behind each claim"
    if isinstance(found, NotThere):
        return Section("2", title, (not_there(found),))
    if found.claims.empty:
        return Section("2", title, (Gap(NO_CLAIMS),))
    read = results.readings
    matrix = evidence_matrix(found, read if isinstance(read, JoinedReadings) else None)
    blocks: list[Block] = [Paragraph(claims_headline(found))]
    blocks.append(TextTable("Strength of the evidence: direct, partial or none", recorded_table(matrix, _MATRIX)))
    bare = [str(claim) for claim in matrix.loc[matrix["strength"] == "none", "claim"]]
    blocks += [Gap(f"No evidence of this study bears on: “{claim}”.") for claim in bare]
    blocks += [or_gap(verdicts(results)), or_gap(all_numbers(results))]
    blocks += [block for number in found.claims["number"] for block in _one(found, int(number))]
    return Section("2", title, (*blocks, *points([found.method, *found.notes, *what_claims_cannot_show()])))


def _one(found: Claims, number: int) -> list[Block]:
    """Return the reasons for the verdict on one claim, and what it would take."""
    row = found.claims.loc[found.claims["number"] == number].iloc[0]
    lines = [*reasons_of(found, number), *(f"It would take: {need}" for need in needs_of(found, number))]
    gaps = [str(gap) for gap in found.gaps.loc[found.gaps["number"] == number, "gap"]]
    head = Subheading(f"{number}. “{row['claim']}”: {verdict_words(str(row['verdict']))}")
    return [head, *points(lines), *map(Gap, gaps)]


def wording(results: Results) -> Section:
    """Return what may be said, verdict by verdict, with the words that were found wanting."""
    found = results.claims
    if isinstance(found, NotThere):
        return Section("13", "Wording options", (not_there(found),))
    if found.claims.empty:
        return Section("13", "Wording options", (Gap(NO_CLAIMS),))
    blocks: list[Block] = [Caution(local_law())]
    for verdict in VERDICTS:
        numbers = found.claims.loc[found.claims["verdict"] == verdict, "number"]
        if len(numbers):
            blocks += [Subheading(verdict_words(verdict)), *points(_option(found, int(number)) for number in numbers)]
    return Section("13", "Wording options", tuple(blocks))


def _option(found: Claims, number: int) -> str:
    row = found.claims.loc[found.claims["number"] == number].iloc[0]
    parts = [f"“{row['claim']}”."]
    parts += [f"What may be said: {ended(row['suggestion'])}"] if row["suggestion"] else []
    parts += wording_lines(found, number)
    parts += [f"Footnote: {text}" for text in footnote_lines(found, number)[:1] if row["footnote"]]
    return " ".join(parts)
