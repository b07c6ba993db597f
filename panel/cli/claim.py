"""Command about what may be said: the verdict on each claim."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from panel.cli.shared import json_option, open_path, print_json, print_lines, print_table, study_argument


@click.command()
@study_argument
@json_option
def claim(study: Path, as_json: bool) -> None:
    """Say of each claim whether the data allow it, why, and what it would take."""
    from panel.claims.judge import judge_claims

    opened = open_path(study)
    result = judge_claims(opened)
    if as_json:
        from panel.views.drawing.plain_data import records

        content: dict[str, Any] = {"claims": [_with_words(row, result) for row in records(result.claims)]}
        frames = ("numbers", "findings", "gaps")
        content |= {name: getattr(result, name) for name in frames}
        print_json(content | {"level": result.level, "method": result.method, "notes": result.notes})
        return
    from panel.report.contents.evidence import mark
    from panel.views.decision.claim_tables import claims_table
    from panel.views.decision.claim_words import claims_headline, what_claims_cannot_show

    warned = mark(opened)
    print_lines(claims_headline(result), *([f"{warned}."] if warned else []), "")
    for number in result.claims["number"]:
        print_lines(*_one(result, int(number)), "")
    if len(result.claims):
        print_table(claims_table(result))
    print_lines(result.method, *result.notes, *what_claims_cannot_show())


def _with_words(row: dict[str, Any], result: Any) -> dict[str, Any]:
    """Return a claim with its reasons and what it would take."""
    from panel.views.decision.claim_words import needs_of, reasons_of

    number = int(row["number"])
    return row | {"reasons": reasons_of(result, number), "needs": needs_of(result, number)}


def _one(result: Any, number: int) -> list[str]:
    """Return one claim in words."""
    from panel.views.decision.claim_words import (
        fixed_words,
        footnote_lines,
        needs_of,
        reasons_of,
        verdict_words,
        wording_lines,
    )

    row = result.claims.loc[result.claims["number"] == number].iloc[0]
    lines = [f"{verdict_words(str(row['verdict']))} | “{row['claim']}”"]
    lines += [f"  What may be said: {row['suggestion']}"] if row["suggestion"] else []
    for head, words in (("", reasons_of), ("It would take: ", needs_of), ("Words: ", wording_lines)):
        lines += [f"  {head}{text}" for text in words(result, number)]
    lines += [f"  Footnote: {text}" for text in footnote_lines(result, number)]
    return [*lines, f"  {fixed_words(result, number)}"]
