"""What to mind in practice before making a blend: solids, volatiles, allergens, cautions, cost."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from panel.study.knowledge import canonical_ingredient, cautions, emollient_value, ingredients
from panel.study.study import Study

COST = "cost"
WARNING_COLUMNS = ("kind", "value", "versus", "about", "words")
# A share that differs by less than this many per cent of the blend is the same.
_SAME_SHARE = 0.5


def blend_warnings(study: Study, blend: Mapping[str, float], base: Mapping[str, float]) -> pd.DataFrame:
    """Return `kind value versus about words`, one row per thing to mind about `blend` (per cent of the formula).

    `solid` and `volatile`: share of the emollient part in per cent, and that of the base. `cost`: of the emollients in
    100 units of formula, and that of the base, where the study gives the cost of all of them (table ingredient_values,
    property cost, per unit of mass). `assessors`: who must avoid one of the ingredients. `caution`: the usual words.
    """
    rows = [*_shares(study, blend, base), *_cost(study, blend, base), *_assessors(study, blend), *_cautions(blend)]
    frame = pd.DataFrame(rows, columns=list(WARNING_COLUMNS))
    return frame.astype({"kind": "str", "value": "float64", "versus": "float64", "about": "str", "words": "str"})


def _shares(study: Study, blend: Mapping[str, float], base: Mapping[str, float]) -> list[tuple[object, ...]]:
    rows: list[tuple[object, ...]] = []
    for name in ("solid", "volatile"):
        share, versus = (_share(study, part, name) for part in (blend, base))
        if share > 0 or versus - share > _SAME_SHARE:
            about = [one for one, amount in blend.items() if amount > 0 and emollient_value(study, one, name).value > 0]
            rows.append((name, share, versus, ", ".join(about), ""))
    return rows


def _share(study: Study, blend: Mapping[str, float], name: str) -> float:
    """Return the per cent of the blend that is solid or volatile; what is not known counts as neither."""
    marked = sum(
        amount * float(np.nan_to_num(emollient_value(study, one, name).value))
        for one, amount in blend.items()
        if amount > 0
    )
    return 100 * marked / sum(blend.values())


def _cost(study: Study, blend: Mapping[str, float], base: Mapping[str, float]) -> list[tuple[object, ...]]:
    values = study.table("ingredient_values")
    own = values.loc[(values["property"] == COST) & values["value"].notna()].sort_values("measured_on", kind="stable")
    names = [canonical_ingredient(text) or text for text in own["ingredient"]]
    cost = dict(zip(names, own["value"].astype(float), strict=True))  # the latest comes last and stays
    used = [one for part in (blend, base) for one, amount in part.items() if amount > 0]
    if not used or not set(used) <= set(cost):
        return []
    mass, versus = (sum(cost[one] * amount for one, amount in part.items() if amount > 0) for part in (blend, base))
    return [(COST, mass, versus, "", "")]


def _assessors(study: Study, blend: Mapping[str, float]) -> list[tuple[object, ...]]:
    known = ingredients().set_index("ingredient")["allergen"]
    held = {
        tag.strip().casefold(): one
        for one, amount in blend.items()
        if amount > 0 and one in known.index
        for tag in str(known[one]).split(";")
        if tag.strip()
    }
    listed = study.table("assessors")
    rows: list[tuple[object, ...]] = []
    for tag, one in held.items():
        avoiding = [
            str(assessor)
            for assessor, avoid in zip(listed["assessor"], listed["avoid"], strict=True)
            if tag in [each.strip().casefold() for each in str(avoid).split(";")]
        ]
        if avoiding:
            rows.append(("assessors", float(len(avoiding)), float("nan"), one, ", ".join(avoiding)))
    return rows


def _cautions(blend: Mapping[str, float]) -> list[tuple[object, ...]]:
    tags = ingredients().set_index("ingredient")["cautions"]
    words = cautions().set_index("caution")["words"]
    called: dict[str, list[str]] = {}
    for one, amount in blend.items():
        if amount > 0 and one in tags.index:
            for tag in filter(None, (part.strip() for part in str(tags[one]).split(";"))):
                called.setdefault(tag, []).append(one)
    nothing = float("nan")
    return [("caution", nothing, nothing, ", ".join(about), str(words[tag])) for tag, about in called.items()]
