"""How far apart does each assessor put two samples that are the same?"""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pandas as pd

from panel.study.formulas import SAME_AMOUNT, all_formulas
from panel.study.study import Study

DUPLICATE_COLUMNS = ["assessor", "attribute", "n_pairs", "distance", "others_distance", "ratio"]


def duplicate_distances(study: Study, scores: pd.DataFrame) -> pd.DataFrame:
    """Return how far each assessor puts blind duplicates apart, one row per assessor and attribute.

    Duplicates are one prototype served twice in a session, and two prototypes with the same formula scored in the
    same session. `distance` is the root mean square difference, `others_distance` that of the other assessors.
    Without rows where nothing was served twice.
    """
    pairs = _differences(scores.assign(sample=_names_of_same(study, scores)))
    if pairs.empty:
        return pd.DataFrame(columns=DUPLICATE_COLUMNS).astype({"assessor": "str", "attribute": "str"})
    own = pairs.groupby(["attribute", "assessor"], sort=False)["square"].agg(["sum", "count"])
    whole = own.groupby("attribute", sort=False).transform("sum")
    with np.errstate(divide="ignore", invalid="ignore"):
        others = np.sqrt((whole["sum"] - own["sum"]).to_numpy() / (whole["count"] - own["count"]).to_numpy())
        distance = np.sqrt(own["sum"].to_numpy() / own["count"].to_numpy())
        ratio = distance / others
    frame = own.reset_index().assign(distance=distance, others_distance=others, ratio=ratio)
    order = {name: place for place, name in enumerate(study.attributes)}
    frame = frame.rename(columns={"count": "n_pairs"}).sort_values("attribute", key=lambda names: names.map(order))
    people = {name: place for place, name in enumerate(study.assessors)}
    frame = frame.sort_values("assessor", key=lambda names: names.map(people), kind="stable", ignore_index=True)
    return frame[DUPLICATE_COLUMNS]


def same_formulas(study: Study) -> list[tuple[str, ...]]:
    """Return groups of prototypes whose formulas are the same, every amount within 0.005 %."""
    percent = all_formulas(study).percent
    groups: list[list[str]] = []
    for prototype in percent.index:
        for group in groups:
            if bool((percent.loc[prototype] - percent.loc[group[0]]).abs().le(SAME_AMOUNT + 1e-9).all()):
                group.append(str(prototype))
                break
        else:
            groups.append([str(prototype)])
    return [tuple(group) for group in groups if len(group) > 1]


def _names_of_same(study: Study, scores: pd.DataFrame) -> pd.Series:
    """Return for each score the name under which prototypes with one formula go together."""
    same = {name: group[0] for group in same_formulas(study) for name in group}
    return scores["prototype"].map(lambda name: same.get(name, name))


def _differences(scores: pd.DataFrame) -> pd.DataFrame:
    """Return the squared differences of all scores of one sample by one person in one session."""
    with_session = scores.loc[scores["session"] != ""]
    rows = []
    keys = ["assessor", "attribute", "session", "sample"]
    repeated = with_session.loc[with_session.duplicated(keys, keep=False)]
    for (assessor, attribute, _, _), values in repeated.groupby(keys, sort=False)["score"]:
        rows += [(assessor, attribute, (a - b) ** 2) for a, b in combinations(values.tolist(), 2)]
    return pd.DataFrame(rows, columns=["assessor", "attribute", "square"])
