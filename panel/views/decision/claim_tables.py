"""Verdicts on claims, and the numbers behind one, as tables a person reads."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd

from panel.claims.judge import Claims
from panel.views.decision.claim_words import kind_words, verdict_words
from panel.views.drawing.formats import NOTHING, format_number, format_p, format_share

_UNITS = {"scale": "", "%": " %", "s": " s"}
_SEVERITY_WORDS = {"stop": "not this tool", "change": "change the wording", "note": "good to know"}


def claims_table(result: Claims) -> pd.DataFrame:
    """Return one row per claim, the verdict first."""
    rows = [
        (
            verdict_words(str(row["verdict"])),
            row["claim"],
            kind_words(str(row["kind"])),
            value_words(row["estimate"], str(row["unit"])),
            interval_words(row),
            format_p(row["p_adjusted"]),
            str(row["n"]) if row["n"] else NOTHING,
            "no" if row["exploratory"] else "yes",
        )
        for row in result.claims.to_dict("records")
    ]
    columns = ["Verdict", "Sentence", "Kind", "Estimate", "Interval", "Adjusted p", "People", "Fixed beforehand"]
    return pd.DataFrame(rows, columns=columns, dtype="str")


def claim_numbers_table(result: Claims, number: int) -> pd.DataFrame:
    """Return the numbers behind one claim, and the limits they are held against."""
    own = result.numbers.loc[result.numbers["number"] == number]
    rows = [
        (
            " ".join([str(row["what"]), *([f"({row['method']})"] if row["method"] else [])]),
            value_words(row["estimate"], str(row["unit"])),
            interval_words(row),
            f"{format_number(100 * row['ci_level'], 0)} %",
            limit_words(row),
        )
        for row in own.to_dict("records")
    ]
    return pd.DataFrame(rows, columns=["Number", "Estimate", "Interval", "Level", "Has to lie"], dtype="str")


def claim_findings_table(result: Claims, number: int) -> pd.DataFrame:
    """Return what was found in the words of one claim."""
    own = result.findings.loc[result.findings["number"] == number]
    rows = [
        (_SEVERITY_WORDS[row["severity"]], row["message"], row["advice"], row["source"])
        for row in own.to_dict("records")
    ]
    return pd.DataFrame(rows, columns=["How grave", "What", "What to do", "Source"], dtype="str")


def value_words(value: float, unit: str) -> str:
    """Return an estimate with its unit; counted shares are cut, never rounded up."""
    if unit == "%":
        return format_share(value / 100)
    text = format_number(value)
    return text if text == NOTHING else f"{text}{_UNITS.get(unit, '')}"


def interval_words(row: dict[Any, Any]) -> str:
    """Return an interval with its unit; an open end is said to be open."""
    low, high, unit = row["ci_low"], row["ci_high"], _UNITS.get(str(row["unit"]), "")
    if math.isnan(low) or math.isnan(high):
        return NOTHING
    if math.isinf(low) and math.isinf(high):
        return "open at both ends"
    if math.isinf(low):
        return f"up to {format_number(high)}{unit}"
    if math.isinf(high):
        return f"from {format_number(low)}{unit}"
    return f"{format_number(low)} to {format_number(high)}{unit}"


def limit_words(row: dict[Any, Any]) -> str:
    """Return the limit or limits a number is held against."""
    low, high, unit = row["limit_low"], row["limit_high"], _UNITS.get(str(row["unit"]), "")
    if math.isnan(low) and math.isnan(high):
        return NOTHING
    if math.isnan(low):
        return f"below {format_number(high)}{unit}"
    if math.isnan(high):
        return f"above {format_number(low)}{unit}"
    return f"between {format_number(low)} and {format_number(high)}{unit}"
