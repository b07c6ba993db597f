"""What may be said of each claim, in plain sentences, and what such a verdict cannot tell."""

from __future__ import annotations

from collections import Counter

from panel.claims.judge import Claims
from panel.claims.verdict import (
    CANNOT_TELL,
    NOT_SUPPORTED,
    NOT_THIS_TOOL,
    SUPPORTED,
    VERDICTS,
    WITH_WORDING,
)
from panel.claims.wording import NOT_NAMED
from panel.study.claim_knowledge import claim_kinds
from panel.study.knowledge import cautions
from panel.views.drawing.formats import format_list

_SIGNS = {SUPPORTED: "✓", WITH_WORDING: "≈", NOT_SUPPORTED: "✗", CANNOT_TELL: "?", NOT_THIS_TOOL: "–"}
_COUNTED = {
    SUPPORTED: "supported as worded",
    WITH_WORDING: "supported in other words only",
    NOT_SUPPORTED: "not supported",
    CANNOT_TELL: "that cannot be told yet",
    NOT_THIS_TOOL: "not for this tool",
}


def claims_headline(result: Claims) -> str:
    """Return one sentence: how many claims got which verdict."""
    total = len(result.claims)
    if not total:
        return "No claim has been written down yet."
    counts = Counter(result.claims["verdict"])
    parts = [f"{counts[verdict]} {_COUNTED[verdict]}" for verdict in VERDICTS if counts[verdict]]
    exploratory = int(result.claims["exploratory"].sum())
    more = (
        f" {exploratory} of them {'was' if exploratory == 1 else 'were'} not fixed before the data."
        if exploratory
        else ""
    )
    return f"Of {total} claim{'' if total == 1 else 's'}: {format_list(parts)}.{more}"


def verdict_words(verdict: str) -> str:
    """Return a verdict with a sign before it, so that it can be told without colour."""
    return f"{_SIGNS[verdict]} {verdict}"


def kind_words(kind: str) -> str:
    """Return a kind of claim in words; the kind itself where it is not known."""
    kinds = claim_kinds()
    found = kinds.loc[kinds["kind"] == kind, "words"]
    return str(found.iloc[0]) if len(found) else kind


def what_the_claims_show(result: Claims) -> list[str]:
    """Return one line per claim: the verdict, the sentence, the number that decides, the wording that may be used."""
    lines = []
    for row in result.claims.to_dict("records"):
        why = _why(result, int(row["number"]))
        say = [f"What may be said: {ended(row['suggestion'])}"] if row["suggestion"] else []
        lines.append(" ".join([f"{verdict_words(str(row['verdict']))}: “{row['claim']}”.", *why, *say]))
    return lines


def _why(result: Claims, number: int) -> list[str]:
    """Return the first reason, what is lacking where no number could be had, and that the attribute is not named."""
    verdict = result.claims.loc[result.claims["number"] == number, "verdict"].iloc[0]
    lacking = verdict == CANNOT_TELL and not (result.numbers["number"] == number).any()
    first = [reasons_of(result, number)[:1], needs_of(result, number)[:1] if lacking else []]
    unnamed = (result.findings["number"] == number) & (result.findings["check"] == NOT_NAMED)
    told = [words for part in first for words in part] + [str(words) for words in result.findings["message"][unnamed]]
    return [f"{words[:1].upper()}{words[1:]}" for words in told]


def ended(words: str) -> str:
    """Return a wording with a full stop after it."""
    return words if words.endswith((".", ".”")) else f"{words}."


def reasons_of(result: Claims, number: int) -> list[str]:
    """Return the reasons of one verdict."""
    return [str(words) for words in result.reasons.loc[result.reasons["number"] == number, "reason"]]


def needs_of(result: Claims, number: int) -> list[str]:
    """Return what it would take to support one claim."""
    return [str(words) for words in result.needs.loc[result.needs["number"] == number, "need"]]


def wording_lines(result: Claims, number: int) -> list[str]:
    """Return what was found in the words of one claim, each with advice."""
    rows = result.findings.loc[result.findings["number"] == number]
    return [f"{row['message']} {row['advice']}" for row in rows.to_dict("records")]


def footnote_lines(result: Claims, number: int) -> list[str]:
    """Return the footnote of one claim and what it lacks; nothing where nothing was tested."""
    row = result.claims.loc[result.claims["number"] == number].iloc[0]
    gaps = [str(words) for words in result.gaps.loc[result.gaps["number"] == number, "gap"]]
    return [*([str(row["footnote"])] if row["footnote"] else []), *gaps]


def fixed_words(result: Claims, number: int) -> str:
    """Return who fixed the claim and when, or that nobody did."""
    row = result.claims.loc[result.claims["number"] == number].iloc[0]
    if not row["stamped_at"]:
        return "Not stamped: nothing shows when it was fixed."
    owner = f" Wanted by: {row['owner']}." if row["owner"] else ""
    where = "; ".join(str(row[name]) for name in ("media", "territory") if row[name])
    place = f" To be used in: {where}." if row["media"] or row["territory"] else ""
    return f"Stamped at {row['stamped_at'].replace('T', ' ')} by {row['stamped_by']}.{owner}{place}"


def local_law() -> str:
    """Return the caution that belongs beside every verdict."""
    known = cautions()
    return str(known.loc[known["caution"] == "local_law", "words"].iloc[0])


def what_claims_cannot_show() -> tuple[str, ...]:
    """Return what a reader must not take from a verdict."""
    return (
        local_law(),
        "A verdict is about this sentence, this formula and batch, these people, this dose and this time. Another "
        "wording is another claim.",
        "What people perceive never shows what happens in the skin.",
        "Nobody signs here: a claim reviewer reads the evidence and signs.",
    )
