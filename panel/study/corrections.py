"""How is a score corrected or set aside without being lost? By a written correction; the score itself stays."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import pandas as pd

from panel.errors import StudyError
from panel.study.scores_used import rows_of_key
from panel.study.study import Study
from panel.study.typed_number import typed_number

PLACE_COLUMNS = ("assessor", "session", "replicate", "prototype", "attribute")
_PLACE_WORDS = "assessor, session, replicate, prototype and attribute"


def with_correction(study: Study, place: Mapping[str, str], *, new: str, who: str, why: str, when: str) -> Study:
    """Return the study with one more row in its table of corrections.

    Parameters
    ----------
    place
        Which score: `assessor`, `prototype`, `attribute` and, where the scores have them, `session`, `replicate`.
    new
        The right value as text, with a decimal point or comma; empty sets the score aside.
    who, why, when
        Who corrects it, for what reason, and when (ISO 8601).

    Raises
    ------
    StudyError
        If `who` or `why` is missing, the place names no score or more than one, or `new` is no number.
    """
    if not who.strip() or not why.strip():
        raise StudyError("A correction needs a name and a reason. Write who corrects the score, and why.")
    value = typed_number(new, "The new score")
    key = "; ".join(f"{column}={place[column].strip()}" for column in PLACE_COLUMNS if place.get(column))
    chosen = rows_of_key(study.scores, key)
    if chosen.sum() != 1:
        found = "no score" if not chosen.any() else f"{chosen.sum()} scores"
        raise StudyError(f"'{key}' names {found} of this study. Choose {_PLACE_WORDS} so that they name one.")
    row = {
        "when": when,
        "who": who.strip(),
        "table": "scores",
        "key": key,
        "old": _value_before(study, int(chosen.to_numpy().argmax())),
        "new": _written(value),
        "why": why.strip(),
    }
    corrections = study.table("corrections")
    longer = pd.concat([corrections, pd.DataFrame([row], dtype="str")], ignore_index=True).fillna("").astype("str")
    return replace(study, tables={**study.tables, "corrections": longer})


def _value_before(study: Study, row: int) -> str:
    """Return the value of a score before this correction: that of the last one before it, else the score itself."""
    earlier = study.table("corrections")
    earlier = earlier.loc[earlier["table"] == "scores"]
    for key, new in zip(earlier["key"].iloc[::-1], earlier["new"].iloc[::-1], strict=True):
        if rows_of_key(study.scores, key).iloc[row]:
            return str(new)
    score = float(study.scores["score"].iloc[row])
    return "" if math.isnan(score) else _written(score)


def _written(value: float | None) -> str:
    """Return a number so that it is read back as the same one: three decimals alone look like a thousands mark."""
    if value is None:
        return ""
    text = repr(value)
    return f"{text}0" if len(text.partition(".")[2]) == 3 else text
