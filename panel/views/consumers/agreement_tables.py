"""Agreement with statements as tables a person reads."""

from __future__ import annotations

import pandas as pd

from panel.models.consumers.agreement import DEFAULT, FROM_QUESTION, Agreement
from panel.views.consumers.share_words import in_ten, share_interval, share_words
from panel.views.drawing.formats import NOTHING, format_p, format_share

_SET_BY = {DEFAULT: "nobody; a majority is asked", FROM_QUESTION: "the fact `questions`"}


def statements_table(result: Agreement) -> pd.DataFrame:
    """Return one row per statement with both bases and both intervals."""
    rows = result.statements
    level = f"{100 * result.level:g} % interval"
    return pd.DataFrame(
        {
            "Prototype": list(rows["prototype"]),
            "Statement": [words or name for words, name in zip(rows["words"], rows["question"], strict=True)],
            "Untrue on purpose": ["yes" if foil else "" for foil in rows["foil"]],
            "Agreed, of all who answered": _shares(rows, "agreed", "base"),
            f"{level} (Wilson)": _intervals(rows, "ci_low", "ci_high"),
            f"{level} (exact)": _intervals(rows, "exact_low", "exact_high"),
            "At most": [in_ten(int(x), int(n)) for x, n in zip(rows["agreed"], rows["base"], strict=True)],
            "Neutral": _shares(rows, "neutral", "base"),
            "Disagreed": _shares(rows, "disagreed", "base"),
            "Don't know": [f"{n:d}" for n in rows["dont_know"]],
            "Agreed, of those with an opinion": _shares(rows, "agreed", "opinion_base"),
            "Started": [NOTHING if pd.isna(n) else f"{n:.0f}" for n in rows["started"]],
            "Did not answer": [NOTHING if pd.isna(n) else f"{n:.0f}" for n in rows["dropped"]],
        },
        dtype="str",
    )


def bars_table(result: Agreement) -> pd.DataFrame:
    """Return one row per statement and bar."""
    rows = result.bars
    return pd.DataFrame(
        {
            "Prototype": list(rows["prototype"]),
            "Statement": list(rows["question"]),
            "Bar": [format_share(value, 1) for value in rows["bar"]],
            "Set by": [
                _SET_BY.get(str(source), f"the claim: {claim}")
                for source, claim in zip(rows["source"], rows["claim"], strict=True)
            ],
            "Agreed": _shares(rows, "agreed", "base"),
            "Needed": [
                f"{n:d}" if n <= base else NOTHING for n, base in zip(rows["needed"], rows["base"], strict=True)
            ],
            "p (one-sided, exact)": [format_p(value) for value in rows["p_value"]],
            "p after Holm": [format_p(value) for value in rows["p_adjusted"]],
            "Above the bar": ["shown" if passed else "not shown" for passed in rows["passed"]],
        },
        dtype="str",
    )


def without_foil_table(result: Agreement) -> pd.DataFrame:
    """Return one row per statement: the count without those who agreed with an untrue one."""
    rows = result.without_foil
    return pd.DataFrame(
        {
            "Prototype": list(rows["prototype"]),
            "Statement": list(rows["question"]),
            "Agreed, without yes-sayers": _shares(rows, "agreed", "base"),
            "Agreements that were theirs": [f"{n:d}" for n in rows["lost"]],
        },
        dtype="str",
    )


def _shares(rows: pd.DataFrame, count: str, base: str) -> list[str]:
    return [share_words(int(x), int(n)) for x, n in zip(rows[count], rows[base], strict=True)]


def _intervals(rows: pd.DataFrame, low: str, high: str) -> list[str]:
    return [share_interval(a, b) for a, b in zip(rows[low], rows[high], strict=True)]
