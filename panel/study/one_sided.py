"""May a question ask whether there is too little of something? Not where nobody could want more of it."""

from __future__ import annotations

import re
from functools import cache

import pandas as pd

from panel.study.knowledge import shared_folder


@cache
def _read() -> pd.DataFrame:
    return pd.read_csv(shared_folder() / "one_sided.csv", dtype=str, keep_default_na=False, encoding="utf-8")


def one_sided_words() -> pd.DataFrame:
    """Return `word attribute why source`: what nobody could want more of. A copy; common practice has no source."""
    return _read().copy()


def why_one_sided(*texts: str, attribute: str = "") -> str:
    """Return why a question cannot be asked both ways, empty if it can.

    Parameters
    ----------
    texts
        Name and wording of the question; a word of the list counts where it stands as a word of its own.
    attribute
        Short name of the attribute the question follows, if the study says.
    """
    known = _read()
    if attribute:
        by_attribute = known.loc[known["attribute"] == attribute, "why"]
        if len(by_attribute):
            return str(by_attribute.iloc[0])
    asked = " ".join(texts).casefold()
    for word, why in zip(known["word"], known["why"], strict=True):
        if re.search(rf"(?<!\w){re.escape(word)}(?!\w)", asked):
            return str(why)
    return ""
