"""What becomes of the differences when use of the scale is taken into account, in plain sentences."""

from __future__ import annotations

import pandas as pd

from panel.models.prototypes.scale_use import ScaleUse
from panel.views.drawing.formats import format_list, format_number, p_words
from panel.views.drawing.naming import Naming


def scale_use_headline(result: ScaleUse, names: Naming) -> str:
    """Return in one sentence whether the answer stands."""
    rows = result.attributes
    if rows.empty:
        return "Use of the scale cannot be taken into account on any attribute."
    limit = round(1 - result.level, 12)
    changed = rows.loc[(rows["p_value"] < limit) != (rows["additive_p_value"] < limit)]
    if changed.empty:
        count = len(rows)
        return f"Taking each assessor's use of the scale into account changes the answer on none of {count} attributes."
    told = [names.attribute(str(name)) for name in changed["attribute"]]
    return (
        f"Taking each assessor's use of the scale into account changes the answer on {format_list(told)}: the result "
        "there hangs on how it is analysed."
    )


def what_scale_use_shows(result: ScaleUse, names: Naming) -> list[str]:
    """Return one line for each attribute on which people use the scale, or see the prototypes, differently."""
    limit = round(1 - result.level, 12)
    lines = [_line(row, names, limit) for row in map(pd.Series, result.attributes.to_dict("records"))]
    return [line for line in lines if line]


def _line(row: pd.Series, names: Naming, limit: float) -> str:
    parts = []
    if row["scaling_p_value"] < limit and not row["suppressed"]:
        parts.append(f"assessors use the scale differently ({p_words(row['scaling_p_value'])})")
    if row["disagreement_p_value"] < limit:
        parts.append(f"some see other differences than the rest ({p_words(row['disagreement_p_value'])})")
    if not parts:
        return ""
    before, after = format_number(row["additive_statistic"], 1), format_number(row["statistic"], 1)
    return (
        f"{names.attribute(str(row['attribute']))}: {format_list(parts)}; F is {before} as compared, {after} with it."
    )


def what_scale_use_cannot_show() -> tuple[str, ...]:
    """Return what a reader must not take from these numbers."""
    return (
        "It stands beside the comparison and never takes its place: choosing the model by its result would be choosing "
        "the result.",
        "Where the prototypes do not differ, use of the scale means nothing and is not shown.",
    )
