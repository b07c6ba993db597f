"""Which scores an analysis uses: those that came in, after written corrections and rules recorded beforehand."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from panel.study.named_rows import why_nameless
from panel.study.numbers_read import read_numbers
from panel.study.study import Study

OUTSIDE_SCALE_RULE = "set_aside_outside_scale"
_SET_ASIDE_COLUMNS = ["row", "assessor", "prototype", "attribute", "session", "replicate", "score", "why"]


@dataclass(frozen=True, eq=False, slots=True)
class ScoresUsed:
    """The scores an analysis uses, those it does not use and why.

    Parameters
    ----------
    frame
        The scores table without blanks and without scores set aside; corrected scores carry the new value.
    set_aside
        Scores that were there and are not used: columns `row` (line in the file), who and what, `score`, `why`.
    corrected
        Scores whose value was changed by a written correction, same columns.
    """

    frame: pd.DataFrame
    set_aside: pd.DataFrame
    corrected: pd.DataFrame


def scores_used(study: Study, *, rules: bool = True) -> ScoresUsed:
    """Return the scores an analysis of `study` uses.

    A blank is no score, and a score without the name of its assessor, prototype, attribute or (where others have one)
    session is set aside: it cannot be told whose it is. A correction with a new value replaces the score, one without
    sets it aside. Where the study's facts hold the rule `set_aside_outside_scale`, scores outside their scale are set
    aside; without that rule they stay in. `rules=False` leaves corrections and rules out, to show both analyses side by
    side.
    """
    frame = study.scores
    why = pd.Series("", index=frame.index, dtype="str")
    changed = pd.Series("", index=frame.index, dtype="str")
    if rules:
        frame, why, changed = _with_corrections(study, frame, why, changed)
        if any(rule.get("rule") == OUTSIDE_SCALE_RULE for rule in _rules(study)):
            outside = outside_scale(study, frame) & (why == "")
            why = why.mask(outside, "outside the scale, by the rule recorded beforehand")
    before = study.scores["score"]
    nameless = why_nameless(study.scores, "scores")
    why, changed = why.mask(nameless != "", nameless), changed.mask(nameless != "", "")
    kept = frame["score"].notna() & (why == "")
    return ScoresUsed(
        frame=frame.loc[kept],
        set_aside=_listed(frame.assign(score=before), why, before.notna() & (why != "")),
        corrected=_listed(frame.assign(score=before), changed, changed != ""),
    )


def outside_scale(study: Study, scores: pd.DataFrame) -> pd.Series:
    """Return True for each score below the lowest or above the highest possible one."""
    names = list(dict.fromkeys(scores["attribute"]))
    limits = np.array([limits or (-np.inf, np.inf) for limits in study.scales(names)]).reshape(-1, 2)
    code = pd.Index(names).get_indexer(pd.Index(scores["attribute"]))
    values = scores["score"].to_numpy(dtype=float)
    outside = (values < limits[code, 0]) | (values > limits[code, 1])
    return pd.Series(outside, index=scores.index, dtype=bool)


def _rules(study: Study) -> list[dict[str, str]]:
    stated = study.facts.get("rules", [])
    return [rule for rule in stated if isinstance(rule, dict)] if isinstance(stated, list) else []


def _with_corrections(
    study: Study, frame: pd.DataFrame, why: pd.Series, changed: pd.Series
) -> tuple[pd.DataFrame, pd.Series, pd.Series]:
    """Apply the corrections of the scores table in their order; the last one on a score counts."""
    corrections = study.table("corrections")
    corrections = corrections.loc[corrections["table"] == "scores"]
    if corrections.empty:
        return frame, why, changed
    frame, why, changed = frame.copy(), why.copy(), changed.copy()
    new = read_numbers(corrections["new"]).values
    for (_, row), value in zip(corrections.iterrows(), new, strict=True):
        chosen = rows_of_key(frame, str(row["key"]))
        reason = f"{row['why']} ({row['who']}, {row['when']})"
        if np.isnan(value):
            why.loc[chosen] = reason
        else:
            frame.loc[chosen, "score"] = float(value)
            why.loc[chosen] = ""
            changed.loc[chosen] = reason
    return frame, why, changed


def rows_of_key(frame: pd.DataFrame, key: str) -> pd.Series:
    """Return True for the rows that `key` names: `column=value` pairs separated by `;`, none if it names none."""
    chosen = pd.Series(data=True, index=frame.index)
    for pair in key.split(";"):
        column, _, value = pair.partition("=")
        if column.strip() not in frame.columns:
            return pd.Series(data=False, index=frame.index)
        chosen &= frame[column.strip()].astype("str").str.strip() == value.strip()
    return chosen


def _listed(frame: pd.DataFrame, why: pd.Series, chosen: pd.Series) -> pd.DataFrame:
    rows = frame.loc[chosen].assign(row=lambda part: part.index + 2, why=why[chosen])
    return rows[_SET_ASIDE_COLUMNS].reset_index(drop=True)
