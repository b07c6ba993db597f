"""Groups of consumers as tables: who is in which, what each group likes, which pairs divide them."""

from __future__ import annotations

import numpy as np
import pandas as pd

from panel.models.consumers.liking_model import LikingModel
from panel.stats.maps.groups import Labels

_MEANS = ["segment", "prototype", "n", "estimate", "std_error", "df", "ci_low", "ci_high", "letters", "favourite"]
_DIVIDED = ["prototype", "versus", "segment", "estimate", "ci_low", "ci_high"]


def numbered(labels: Labels) -> Labels:
    """Return the labels with 0 for the largest group, 1 for the next, and so on."""
    if not len(labels):
        return labels
    order = np.argsort(-np.bincount(labels), kind="stable")
    return np.asarray(np.argsort(order)[labels])


def group_of(frame: pd.DataFrame, used: pd.DataFrame, labels: Labels) -> pd.DataFrame:
    """Return `assessor segment`, 0 for consumers left out."""
    found = pd.Series(labels + 1, index=used.index).reindex(frame.index).fillna(0).astype("int64")
    return pd.DataFrame({"assessor": pd.Series(frame.index, dtype="str"), "segment": found.to_numpy()})


def group_means(model: dict[int, LikingModel], used: pd.DataFrame, labels: Labels) -> pd.DataFrame:
    """Return the means of each group; of all consumers as group 1 where there is one group."""
    parts = []
    for group, own in model.items():
        if group == 0 and len(model) > 1:
            continue
        rows = used if group == 0 else used.loc[labels == group - 1]
        best = own.means.iloc[int(own.means["estimate"].argmax())]
        with_best = [bool(set(letters) & set(best["letters"])) for letters in own.means["letters"]]
        count = rows.notna().sum().reindex(own.means["prototype"]).to_numpy()
        parts.append(own.means.assign(segment=max(group, 1), n=count, favourite=with_best))
    return pd.concat(parts, ignore_index=True)[_MEANS] if parts else pd.DataFrame(columns=_MEANS)


def pairs_by_group(model: dict[int, LikingModel]) -> pd.DataFrame:
    """Return pairs not separated over all consumers that one group separates while another leans the other way."""
    groups = [group for group in model if group]
    if len(groups) < 2 or 0 not in model:
        return pd.DataFrame({name: pd.Series(dtype="float64") for name in _DIVIDED})
    overall = model[0].pairs
    together = (overall["ci_low"] <= 0) & (overall["ci_high"] >= 0)
    # every model lists the same pairs in the same order, all prototypes having been tried in each group
    estimate, low, high = (
        np.array([model[group].pairs[column] for group in groups]) for column in ("estimate", "ci_low", "ci_high")
    )
    up = (low > 0).any(axis=0) & (estimate < 0).any(axis=0)
    down = (high < 0).any(axis=0) & (estimate > 0).any(axis=0)
    chosen = together.to_numpy() & (up | down)
    own = [model[group].pairs.loc[chosen].assign(segment=group) for group in groups]
    return pd.concat(own).sort_index(kind="stable")[_DIVIDED].reset_index(drop=True)
