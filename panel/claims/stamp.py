"""Were sentence, margin and bar fixed before anybody saw which scores belong to which prototype?

A claim is stamped with a time, a name and a SHA-256 over everything that decides it, so that a later change shows.
It must be stamped before the first unblinding. Where no unblinding is recorded it must be stamped before the first
score or answer. A claim stamped later, changed since, or not at all is exploratory: at best 'cannot tell yet'.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import pandas as pd

from panel.claims.claim import Claim, split_names
from panel.errors import StudyError
from panel.plan.codes import first_changed_opening, moment
from panel.study.study import Study
from panel.study.tables import TABLES

_SEALED = (
    *("claim", "kind", "prototype", "versus", "attribute", "question", "competitors", "direction", "sides"),
    *("ingredient", "session_before", "session_after", "family", "minutes", "margin", "bar", "bar_panel"),
    *("stamped_at", "stamped_by"),
)


@dataclass(frozen=True, slots=True)
class Standing:
    """Whether a claim is exploratory, and why or why not, in one sentence."""

    exploratory: bool
    words: str


def claim_seal(row: Mapping[str, Any]) -> str:
    """Return the SHA-256 over what decides a claim, from its row in the table of claims; absent columns are empty."""
    facts = {name: _canonical(row.get(name, "")) for name in _SEALED}
    return hashlib.sha256(json.dumps(facts, ensure_ascii=True, sort_keys=True).encode()).hexdigest()


def _canonical(value: object) -> str:
    """Return a cell as text: numbers in their shortest form, what is missing empty, names one way."""
    if isinstance(value, int | float):
        return "" if math.isnan(value) else repr(float(value))
    return "; ".join(split_names(str(value or "")))


def with_claim(study: Study, row: Mapping[str, Any], *, who: str, when: str) -> Study:
    """Return the study with one more claim, stamped.

    Parameters
    ----------
    row
        Columns of the table of claims, without those of the stamp.
    who, when
        Who fixes it, and when (ISO 8601).

    Raises
    ------
    StudyError
        If the sentence, the kind or the name is missing, or the moment is none.
    """
    if not who.strip():
        raise StudyError("A claim is fixed by a named person. Write who fixes it.")
    if not str(row.get("claim", "")).strip() or not str(row.get("kind", "")).strip():
        raise StudyError("A claim needs its sentence, exactly as it is to be said, and its kind.")
    moment(when, "The time of the stamp")
    stamped = {**row, "stamped_at": when, "stamped_by": who.strip()}
    stamped["stamp"] = claim_seal(stamped)
    new = {}
    for column in TABLES["claims"].columns:
        empty: Any = float("nan") if column.kind == "number" else ""
        value = stamped.get(column.name, empty)
        new[column.name] = empty if value is None else value
    longer = pd.concat([study.table("claims"), pd.DataFrame([new])], ignore_index=True)
    return replace(study, tables={**study.tables, "claims": longer})


def standing(study: Study, claim: Claim) -> Standing:
    """Return whether a claim was fixed in time."""
    if not (claim.stamped_at and claim.stamped_by and claim.stamp):
        return Standing(True, "Nothing shows that sentence, margin and bar were fixed before the data were seen.")
    row = {name: getattr(claim, name) for name in _SEALED} | _as_stated(study, claim)
    if claim_seal(row) != claim.stamp:
        return Standing(True, "The claim was changed after it was stamped: it no longer fits its seal.")
    if first_changed_opening(study.table("unblindings")) is not None:
        return Standing(
            True, "The list of unblindings was changed after it was written, so the order of events is open."
        )
    try:
        stamped, (limit, words) = moment(claim.stamped_at, "The time of the stamp"), _opened(study)
    except StudyError as error:
        return Standing(True, str(error))
    if limit is None:
        return Standing(True, words)
    if stamped < limit:
        return Standing(False, f"Fixed on {_shown(claim.stamped_at)} by {claim.stamped_by}, before {words}.")
    return Standing(True, f"Fixed on {_shown(claim.stamped_at)}, not before {words}.")


def _shown(when: str) -> str:
    """Return a moment as people write it."""
    return when.replace("T", " ")


def _as_stated(study: Study, claim: Claim) -> dict[str, Any]:
    """Return the cells of the claim as they stand in the table: what was read may have been filled in."""
    row = study.table("claims").iloc[claim.number - 1]
    return {name: row[name] for name in ("kind", "competitors", "direction", "sides")}


def _opened(study: Study) -> tuple[datetime | None, str]:
    """Return the first moment from which the data could have been seen by prototype, and what it was."""
    openings = [str(when) for when in study.table("unblindings")["when"] if when]
    if stated := study.facts.get("unblinded_on"):
        openings.append(str(stated))
    if openings:
        first = min(openings, key=lambda when: moment(when, "The time of an unblinding"))
        only_stated = study.table("unblindings").empty
        so = "; the study states this day, no record says who opened the key" if only_stated else ""
        return moment(first, "The time of an unblinding"), f"the first unblinding ({_shown(first)}{so})"
    entered = [str(when) for when in study.scores["recorded_at"] if when]
    entered += [str(day) for days in _dates(study) for day in days]
    if not entered:
        return None, "The study records neither an unblinding nor when its scores and answers came in."
    first = min(entered, key=lambda when: moment(when, "The time of a score"))
    words = f"the first score or answer ({_shown(first)}; no unblinding is recorded)"
    return moment(first, "The time of a score"), words


def _dates(study: Study) -> list[list[object]]:
    stated = study.facts.get("dates", {})
    return [days for days in stated.values() if isinstance(days, list)] if isinstance(stated, dict) else []
