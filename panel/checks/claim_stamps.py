"""Were the claims left as they were stamped? The seal of each claim, and the chain that joins the stamps."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Iterator, Mapping
from typing import Any

import pandas as pd

from panel.checks.finding import Finding
from panel.study.study import Study

_SEALED = (
    *("claim", "kind", "prototype", "versus", "attribute", "question", "competitors", "direction", "sides"),
    *("ingredient", "session_before", "session_after", "family", "minutes", "margin", "bar", "bar_panel"),
    *("stamped_at", "stamped_by"),
)
_START = "afterfeel claims"


def claim_seal(row: Mapping[Any, Any]) -> str:
    """Return the SHA-256 over what decides a claim, from its row in the table of claims; absent columns are empty."""
    facts = {name: _canonical(row.get(name, "")) for name in _SEALED}
    return hashlib.sha256(json.dumps(facts, ensure_ascii=True, sort_keys=True).encode()).hexdigest()


def _canonical(value: object) -> str:
    """Return a cell as text: numbers in their shortest form, what is missing empty, names one way."""
    if isinstance(value, int | float):
        return "" if math.isnan(value) else repr(float(value))
    return "; ".join(name.strip() for name in str(value or "").split(";") if name.strip())


def next_link(claims: pd.DataFrame, stamp: str) -> str:
    """Return the link of a stamp that follows these claims: a SHA-256 over it and the last link, or stamp without."""
    row = None if claims.empty else claims.iloc[-1]
    before = _START if row is None else str(row["chain"]) or str(row["stamp"])
    return hashlib.sha256(json.dumps([before, stamp]).encode()).hexdigest()


def first_broken_link(claims: pd.DataFrame) -> int | None:
    """Return the first row whose link no longer fits its stamp and the one before, counted from 0; None without one."""
    for number, row in enumerate(claims.to_dict("records")):
        if str(row["chain"]) and str(row["chain"]) != next_link(claims.iloc[:number], str(row["stamp"])):
            return number
    return None


def stamps_hash(claims: pd.DataFrame) -> str:
    """Return the SHA-256 that stands for all these claims, to be signed on paper or sent to be time-stamped."""
    stamps = [[str(row["stamp"]), str(row["chain"])] for row in claims.to_dict("records")]
    return hashlib.sha256(json.dumps(stamps).encode()).hexdigest()


def check_claim_stamps(study: Study) -> Iterator[Finding]:
    """Give a finding for a broken chain of stamps, and for each claim that no longer fits its own."""
    claims = study.table("claims")
    broken = first_broken_link(claims)
    if broken is not None:
        yield Finding(
            "warning",
            "stamp_chain_broken",
            f"claims, row {broken + 1}, column chain",
            f"The chain of stamps is broken before claim {broken + 1}: one was changed, exchanged or taken out.",
            "Go back to the table of claims as it was fixed. Otherwise both claims beside the break are exploratory.",
        )
    for number, row in enumerate(claims.to_dict("records"), start=1):
        if row["stamp"] and claim_seal(row) != row["stamp"]:
            yield Finding(
                "warning",
                "claim_changed_after_stamp",
                f"claims, row {number}, column stamp",
                f"Claim {number} was changed after it was stamped: it no longer fits its seal.",
                "Go back to the words, margin and bar that were fixed, or fix the new ones as another claim.",
            )
