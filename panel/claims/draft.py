"""Trying a sentence before it is fixed: judged as if it had been fixed in time, nothing is recorded."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from panel.claims.claim import Claim, read_claims
from panel.claims.evidence import Evidence
from panel.claims.families import InFamily
from panel.claims.families import family_of as adjusted_with
from panel.claims.grammar import read_sentence
from panel.claims.judge import LEVEL, find_evidence, judge_one
from panel.claims.materials import Materials
from panel.claims.names import family_of, names_of
from panel.claims.stamp import Standing
from panel.errors import StudyError
from panel.stats.comparing.multiplicity import holm
from panel.study.study import Study, is_rehearsed
from panel.study.tables import TABLES

DRAFT = "A draft: judged as if it had been fixed before the data. Nothing is recorded, and a draft supports no claim."
_STATEMENT = ("kind", "prototype", "versus", "attribute", "question", "competitors", "direction", "ingredient")


@dataclass(frozen=True, slots=True)
class Draft:
    """What would be said of one sentence if it had been fixed in time."""

    claim: str
    kind: str
    verdict: str
    reasons: tuple[str, ...]
    needs: tuple[str, ...]
    not_covered: tuple[str, ...]
    may_be_said: str
    footnote: str


def suggested(study: Study, sentence: str) -> dict[str, str]:
    """Return which attribute of the study a sentence seems to speak of, by everyday words, and which way."""
    reading = read_sentence(sentence, names_of(study))
    family = reading.family
    found = [name for name in study.attributes if family and family_of(study, name) == family]
    if not found:
        return {}
    way = {"direction": "more" if reading.sign > 0 else "less"} if "comparative" in reading.degree else {}
    return {"attribute": found[0]} | way


def judge_drafts(study: Study, rows: Sequence[Mapping[str, Any]], *, level: float = LEVEL) -> tuple[Draft, ...]:
    """Judge sentences as if fixed beforehand, each alone beside the claims that are fixed.

    Parameters
    ----------
    rows
        Columns of the table of claims; absent ones are empty, others are not looked at.

    Raises
    ------
    StudyError
        If there is no column claim, or a number cannot be read.
    """
    tried = _one_each(replace(study, tables={**study.tables, "claims": _table(rows)}))
    fixed = read_claims(study)
    materials = Materials(study, (*fixed, *tried), level)
    beside = [(claim, find_evidence(claim, materials)) for claim in fixed]
    rehearsed, standing = is_rehearsed(study), Standing(False, DRAFT)
    drafts = []
    for claim in tried:
        found = find_evidence(claim, materials)
        family = _in_family(claim, found, beside)
        judged = judge_one(claim, found, family, materials, standing, rehearsed=rehearsed)
        said, words = judged.verdict, judged.wording.not_covered
        told = (said.verdict, said.reasons, said.needs, words, said.suggestion, judged.footnote.words)
        drafts.append(Draft(claim.claim, claim.kind, *told))
    return tuple(drafts)


def _one_each(study: Study) -> tuple[Claim, ...]:
    """Return the claims, each as if it stood alone: two drafts of one sentence are no fault."""
    twice = "The same claim stands in row"
    claims = read_claims(study)
    return tuple(
        replace(c, problems=tuple(words for words in c.problems if not words.startswith(twice))) for c in claims
    )


def _in_family(claim: Claim, found: Evidence, beside: Sequence[tuple[Claim, Evidence]]) -> InFamily:
    """Return the p-value adjusted with the fixed claims of the family; the same statement counts once."""
    name = adjusted_with(claim, found)
    own = tuple(getattr(claim, column) for column in _STATEMENT)
    others = [
        each.p_value
        for other, each in beside
        if adjusted_with(other, each) == name and tuple(getattr(other, column) for column in _STATEMENT) != own
    ]
    p_values = np.array([found.p_value, *others], dtype=float)
    return InFamily(name, int((~np.isnan(p_values)).sum()), float(holm(p_values)[0]))


def _table(rows: Sequence[Mapping[str, Any]]) -> pd.DataFrame:
    """Return the rows as a table of claims."""
    columns = TABLES["claims"].columns
    if any("claim" not in row for row in rows):
        names = ", ".join(column.name for column in columns)
        raise StudyError(f"The drafts have no column claim. Their columns are those of the table claims: {names}.")
    made = {}
    for column in columns:
        values = [row.get(column.name, "") for row in rows]
        number = column.kind == "number"
        made[column.name] = (
            pd.Series([_number(v, column.name, n) for n, v in enumerate(values, 1)], dtype="float64")
            if number
            else pd.Series(["" if v is None else str(v) for v in values], dtype="str")
        )
    return pd.DataFrame(made)


def _number(value: Any, column: str, row: int) -> float:
    if value is None or str(value).strip() == "":
        return float("nan")
    try:
        return float(str(value).strip().replace(",", "."))
    except ValueError as error:
        raise StudyError(
            f"Row {row}, column {column}: {value!r} is no number. Write a number, or leave it empty."
        ) from error
