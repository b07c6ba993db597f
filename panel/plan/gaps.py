"""What does it do to a plan that somebody may not get a prototype?"""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from panel.plan.balance import ServingBalance
from panel.study.those_in import those_in

NO_GAPS = pd.DataFrame({name: pd.Series(dtype="str") for name in ("assessor", "prototype", "reason")})
"""Nothing is forbidden."""

FEW = 6
"""With fewer people a difference rests on so few that one odd person decides; a choice of ours, no source."""

_NOTHING_LEFT = 1e-9


def design_gaps(
    forbidden: pd.DataFrame, prototypes: Sequence[str], assessors: Sequence[str], warm_up: str = ""
) -> pd.DataFrame:
    """Return `assessor prototype reason` of what is forbidden among these people and prototypes, each pair once."""
    concerned = forbidden["assessor"].isin(list(assessors)) & forbidden["prototype"].isin([*prototypes, warm_up])
    rows = forbidden.loc[concerned, ["assessor", "prototype", "reason"]]
    together = rows.groupby(["assessor", "prototype"], sort=False)["reason"].agg(
        lambda found: "; ".join(found.unique())
    )
    return together.reset_index().astype("str") if len(rows) else NO_GAPS.copy()


def gap_notes(
    gaps: pd.DataFrame, balance: ServingBalance, prototypes: Sequence[str], assessors: Sequence[str]
) -> list[str]:
    """Return in words what the gaps do to the design, from the numbers of the plan."""
    notes = []
    for assessor, rows in gaps.groupby("assessor", sort=False):
        missed = list(those_in(prototypes, rows["prototype"]))
        reason = "; ".join(dict.fromkeys(rows["reason"]))
        left = len(prototypes) - len(missed)
        if left == 0:
            notes.append(f"{assessor} is served nothing: {reason}.")
            continue
        if not missed:
            notes.append(f"{assessor} gets no warm-up: {reason}.")
            continue
        notes.append(f"{assessor} does not get {', '.join(missed)}: {reason}.")
        if left == 1:
            notes.append(f"{assessor} tries only one prototype, which says nothing about differences.")
    return [*notes, *_precision_notes(gaps, balance, len(assessors))] if len(gaps) else []


def _precision_notes(gaps: pd.DataFrame, balance: ServingBalance, n: int) -> list[str]:
    """Return which differences rest on fewer people than planned, and which cannot be told at all."""
    together = balance.together
    notes = []
    lost = together.loc[together["share"] < _NOTHING_LEFT]
    if len(lost):
        pairs = [f"{one} and {other}" for one, other in zip(lost["prototype"], lost["versus"], strict=True)]
        notes.append(f"Cannot be compared, because nobody links them: {_some(pairs)}.")
    fewest = int(together["assessors"].min()) if len(together) else 0
    if 0 < fewest < n:
        weakest = together.loc[together["share"] >= _NOTHING_LEFT].nsmallest(1, "share")
        for row in weakest.to_dict("records"):
            wider = 1 / row["share"] ** 0.5 - 1
            notes.append(
                f"The weakest difference, {row['prototype']} against {row['versus']}, is tried by {row['assessors']} "
                f"of {n} assessors: its standard error is about {100 * wider:.0f} % larger than if all tried both in "
                "the same session."
            )
    if 0 < fewest < FEW <= n:
        notes.append(
            f"Some differences rest on {fewest} assessors. Invite others in place of those who cannot take part."
        )
    missing = gaps.groupby("prototype")["assessor"].nunique()
    if len(missing):
        notes.append(
            "The gaps do not come by chance: people with an allergy may perceive differently, so what is said about "
            f"{', '.join(missing.index)} holds for the others."
        )
    return notes


def _some(names: Sequence[str], most: int = 4) -> str:
    shown = ", ".join(names[:most])
    return f"{shown} and {len(names) - most} more" if len(names) > most else shown
