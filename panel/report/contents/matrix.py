"""Which kinds of evidence stand behind each claim, and how directly? A plain rule of ours, not of any guide.

A number of the trained panel or of consumers is direct evidence for a claim it was asked for, partial if the claim was
not fixed before the data, or if its kind needs both and only one is there. An instrument reading is partial evidence at
most: it was paired with the attribute beforehand, but what people feel is for people to say.
"""

from __future__ import annotations

import pandas as pd

from panel.claims.judge import Claims
from panel.claims.verdict import NOT_THIS_TOOL
from panel.models.emollients.readings import JoinedReadings

DIRECT, PARTIAL, NONE = "direct", "partial", "none"
KINDS = ("panel", "consumers", "instruments")
_NEEDS_BOTH = "absolute_negative"
_SHARE = "%"


def evidence_matrix(claims: Claims, readings: JoinedReadings | None) -> pd.DataFrame:
    """Return `number claim panel consumers instruments strength`: each direct, partial or none."""
    paired = set() if readings is None else set(readings.partners["attribute"])
    rows = []
    for row in claims.claims.to_dict("records"):
        own = claims.numbers.loc[(claims.numbers["number"] == row["number"]) & claims.numbers["estimate"].notna()]
        of_people = _strengths(own, str(row["kind"]), late=bool(row["exploratory"]))
        instruments = PARTIAL if row["attribute"] in paired else NONE
        if row["verdict"] == NOT_THIS_TOOL:
            of_people, instruments = (NONE, NONE), NONE
        found = (*of_people, instruments)
        best = next(strength for strength in (DIRECT, PARTIAL, NONE) if strength in found)
        rows.append((row["number"], row["claim"], *found, best))
    return pd.DataFrame(rows, columns=["number", "claim", *KINDS, "strength"])


def _strengths(numbers: pd.DataFrame, kind: str, *, late: bool) -> tuple[str, str]:
    """Return the strength of the trained panel's and of the consumers' evidence."""
    of_consumers = bool((numbers["unit"] == _SHARE).any())
    of_panel = bool((numbers["unit"] != _SHARE).any())
    whole = DIRECT if not late and (kind != _NEEDS_BOTH or (of_panel and of_consumers)) else PARTIAL
    return (whole if of_panel else NONE, whole if of_consumers else NONE)
