"""What is recorded of each serving beside the prototype: its position, its site, whether it was first on that arm."""

from __future__ import annotations

import re
from collections.abc import Sequence

import pandas as pd

from panel.errors import ModelError
from panel.study.study import Study

SERVING_FACTS = ("position", "site", "first_on_site")
_PLACE_ON_ARM = re.compile(r"[\s,;:./_-]*\d+$|[\s,;:./_-]+[A-Za-z]$")
"""What stands behind the name of an arm: `left forearm 3`, `left-B`, `L2`."""

_CONSTANT = {
    "position": "All scores are from one position, so there is no effect of it to take out. Leave it out of the model.",
    "site": "All scores are from one site, so there is no effect of it to take out. Leave it out of the model.",
    "first_on_site": (
        "Every serving is the first on its site, so there is no effect of it to take out. Where sites lie on one "
        "arm, give them its name and a number, such as 'left forearm 1'; otherwise leave it out of the model."
    ),
}


def serving_labels(study: Study, scores: pd.DataFrame, names: Sequence[str]) -> dict[str, pd.Series]:
    """Return, for each of `names`, one label per row of `scores`.

    The position stands with the score or in the servings; the site is in the servings. The first on a site is the first
    of its session on that arm: `left forearm 1` and `left forearm 2` are one arm.

    Raises
    ------
    ModelError
        If a name is none of `SERVING_FACTS`, it is not recorded for every score, or it is the same for all of them.
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
        if labels[name].nunique() < 2:
            raise ModelError(_CONSTANT[name])
    return {name: labels[name] for name in names}


def _all_labels(study: Study, scores: pd.DataFrame) -> pd.DataFrame:
    """Return `position site first_on_site` for every score, empty where not recorded."""
    key = ["session", "assessor", "prototype"]
    servings = study.table("servings")
    servings = servings.loc[~servings.duplicated(key, keep=False)]
    arm = _arms(servings)
    first = servings.groupby([servings["session"], servings["assessor"], arm])["position"].transform("min")
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


def _arms(servings: pd.DataFrame) -> pd.Series:
    """Return the arm of each serving: its site without the number or letter behind it, where that makes groups.

    Sites that are nothing but numbers or letters keep their names, as nothing says which of them lie together.
    """
    stripped = servings["site"].str.replace(_PLACE_ON_ARM, "", regex=True)
    arm = servings["site"].where(stripped == "", stripped)
    together = pd.DataFrame({"session": servings["session"], "assessor": servings["assessor"], "arm": arm})
    return arm if together.duplicated().any() else servings["site"]
