"""What is recorded of each serving beside the prototype: its position, its site, whether it was first there."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from panel.errors import ModelError
from panel.study.study import Study

SERVING_FACTS = ("position", "site", "first_on_site")


def serving_labels(study: Study, scores: pd.DataFrame, names: Sequence[str]) -> dict[str, pd.Series]:
    """Return, for each of `names`, one label per row of `scores`.

    The position stands with the score or in the servings; site and first place on it are in the servings.

    Raises
    ------
    ModelError
        If a name is none of `SERVING_FACTS`, or it is not recorded for every score.
    """
    unknown = [name for name in names if name not in SERVING_FACTS]
    if unknown:
        raise ModelError(f"{unknown[0]!r} cannot be taken out; choose among {', '.join(SERVING_FACTS)}.")
    if not names:
        return {}
    labels = _all_labels(study, scores)
    for name in names:
        missing = int((labels[name] == "").sum())
        if missing:
            raise ModelError(
                f"{name.replace('_', ' ').capitalize()} is not recorded for {missing} of {len(scores)} scores, so it "
                "cannot be taken out. Add it to the table servings, or leave it out of the model."
            )
    return {name: labels[name] for name in names}


def _all_labels(study: Study, scores: pd.DataFrame) -> pd.DataFrame:
    """Return `position site first_on_site` for every score, empty where not recorded."""
    key = ["session", "assessor", "prototype"]
    servings = study.table("servings")
    servings = servings.loc[~servings.duplicated(key, keep=False)]
    first = servings.groupby(["session", "assessor", "site"])["position"].transform("min")
    facts = servings[key].assign(
        served_at=servings["position"],
        site=servings["site"],
        first_on_site=(servings["position"] == first).map({True: "yes", False: "no"}).where(servings["site"] != "", ""),
    )
    joined = scores[[*key, "position"]].merge(facts, on=key, how="left").set_axis(scores.index, axis=0)
    position = joined["position"].fillna(joined["served_at"])
    return pd.DataFrame(
        {
            "position": position.map("{:g}".format).where(position.notna(), ""),
            "site": joined["site"].fillna(""),
            "first_on_site": joined["first_on_site"].fillna(""),
        }
    ).astype("str")
