"""Do the prototypes in the running please different people?"""

from __future__ import annotations

import pandas as pd

from panel.models.consumers.segments import Segments

_FAVOURITES = ("segment", "n", "prototype", "estimate", "alike")
_DIVIDED = ("prototype", "versus", "segment", "n", "estimate", "ci_low", "ci_high")


def segment_favourites(segments: Segments | None, among: tuple[str, ...]) -> pd.DataFrame:
    """Return `segment n prototype estimate alike`: whom each group likes best `among` these.

    `alike` names those that the group's answers do not separate from its favourites. Without rows where one group
    stands for all.
    """
    rows: list[tuple[object, ...]] = []
    if segments is not None and segments.n_groups > 1:
        means = segments.means.loc[segments.means["prototype"].isin(among)].dropna(subset=["estimate"])
        for segment, own in means.groupby("segment", sort=False):
            order = own.sort_values("estimate", ascending=False, kind="stable")
            first = order.iloc[0]
            alike = order.iloc[1:].loc[order.iloc[1:]["favourite"].astype(bool) & bool(first["favourite"]), "prototype"]
            rows.append((str(segment), int(first["n"]), first["prototype"], float(first["estimate"]), ", ".join(alike)))
    frame = pd.DataFrame(rows, columns=list(_FAVOURITES))
    return frame.astype({"segment": "str", "n": "int64", "prototype": "str", "estimate": "float64", "alike": "str"})


def divided_pairs(segments: Segments | None, among: tuple[str, ...]) -> pd.DataFrame:
    """Return `prototype versus segment n estimate ci_low ci_high` for pairs `among` these that divide the consumers.

    They cannot be separated over all consumers, while one group clearly likes the one better and another leans the
    other way.
    """
    empty = pd.DataFrame({name: pd.Series(dtype="float64") for name in _DIVIDED}).astype(
        {"prototype": "str", "versus": "str", "segment": "str", "n": "int64"}
    )
    if segments is None or segments.n_groups < 2:
        return empty
    rows = segments.divided
    rows = rows.loc[rows["prototype"].isin(among) & rows["versus"].isin(among)]
    if rows.empty:
        return empty
    size = segments.means.groupby("segment")["n"].max()
    rows = rows.assign(n=rows["segment"].map(size).astype("int64"), segment=rows["segment"].astype("str"))
    return rows[list(_DIVIDED)].reset_index(drop=True)
