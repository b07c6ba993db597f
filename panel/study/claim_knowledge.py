"""What is known about claims before there are data: kinds of claim, wordings to look at, words beyond this tool.

These are settings, not law. Local law decides what may be claimed.
"""

from __future__ import annotations

import re
from functools import cache

import pandas as pd

from panel.study.knowledge import shared_folder

_NUMBERS = ("least_assessors", "least_replicates", "least_people", "default_bar", "default_margin")


@cache
def _read(name: str) -> pd.DataFrame:
    frame = pd.read_csv(shared_folder() / name, dtype=str, keep_default_na=False, encoding="utf-8")
    present = [column for column in _NUMBERS if column in frame.columns]
    return frame.assign(**{column: frame[column].replace("", "nan").astype(float) for column in present})


def claim_kinds() -> pd.DataFrame:
    """Return the kinds of claim, one a row, with the design and the numbers each needs.

    Columns: `kind words example minimum_design statistic refusal needs least_assessors least_replicates least_people
    default_bar default_margin source`. `needs` names the columns of the table of claims, separated by `; `; NaN where
    a setting has no value.
    """
    return _read("claim_kinds.csv").copy()


def claim_wordings() -> pd.DataFrame:
    """Return the wordings to look at: `check severity pattern only_kinds not_kinds message advice source`.

    `pattern` is a regular expression; `severity` is `change` (the words say more than such data can) or `note`.
    """
    return _read("claim_wordings.csv").copy()


def claim_stop_words() -> pd.DataFrame:
    """Return the words of physiology, medicine and safety: `word category source`; `*` stands for any ending."""
    return _read("claim_stop_words.csv").copy()


@cache
def stop_patterns() -> tuple[tuple[str, str, re.Pattern[str]], ...]:
    """Return each stop word with its category and the pattern that finds it."""
    table = _read("claim_stop_words.csv")
    return tuple(
        (word, category, re.compile(_whole_words(word), re.IGNORECASE))
        for word, category in zip(table["word"], table["category"], strict=True)
    )


def _whole_words(word: str) -> str:
    """Return the pattern of a word that stands alone, `*` for any ending."""
    ending = re.escape(word).replace(r"\*", r"\w*")
    return rf"(?<![\w-]){ending}(?![\w-])"
