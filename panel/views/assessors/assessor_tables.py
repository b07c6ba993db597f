"""The panel check as tables a person reads."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from panel.models.assessors.leave_one_out import EVERYBODY
from panel.models.assessors.performance import PanelCheck
from panel.models.prototypes.scale_use import ScaleUse
from panel.views.assessors.assessor_words import JUDGED, MARKS, ONE_REPEAT
from panel.views.drawing.formats import NOTHING, format_change, format_interval, format_number, format_p, format_share
from panel.views.drawing.naming import Naming

_SMALL_P = 0.001


def people_table(result: PanelCheck) -> pd.DataFrame:
    """Return one row per assessor: what stands out, what to do, and the numbers over all attributes."""
    people = result.people
    told = result.patterns.groupby("assessor")["pattern"].agg(
        lambda found: ", ".join(MARKS[p] for p in dict.fromkeys(found))
    )
    ends = zip(people["scale_low"], people["scale_high"], strict=True)
    return pd.DataFrame(
        {
            "Assessor": list(people["assessor"]),
            "What to do": [JUDGED[judgement] for judgement in people["judgement"]],
            "What stands out": [told.get(name, NOTHING) for name in people["assessor"]],
            "Tells apart alone": [
                _count(own, tested) if judged else NOTHING
                for own, tested, judged in zip(
                    people["n_separated"], people["n_tested"], people["n_judged"], strict=True
                )
            ],
            "Use of the scale (1 = the others')": [format_number(value, 2) for value in people["scale"]],
            _interval(result.level): [format_interval(low, high, 2) for low, high in ends],
            "Scatter against the others'": _repeats(people["repeat_ratio"], people["n_repeated"]),
            "Level (% of the scale)": [format_change(100 * value, 0) for value in people["level_share"]],
        },
        dtype="str",
    )


def assessor_table(result: PanelCheck, names: Naming, assessor: str) -> pd.DataFrame:
    """Return one row per attribute for one assessor."""
    rows = result.assessors.loc[result.assessors["assessor"] == assessor]
    told = _marks(result)
    ends = zip(rows["ci_low"], rows["ci_high"], rows["judged"], strict=True)
    judged = rows["judged"].to_numpy()
    return pd.DataFrame(
        {
            "Attribute": [names.attribute(str(name)) for name in rows["attribute"]],
            "Tells apart alone, p": [
                format_p(value) if repeated else ONE_REPEAT
                for value, repeated in zip(rows["p_value"], rows["df_error"] > 0, strict=True)
            ],
            "Scatter against the others'": _repeats(rows["repeat_ratio"], rows["df_error"]),
            "Correlation with the others": _where(judged, [format_number(value, 2) for value in rows["correlation"]]),
            "Slope on the others": _where(judged, [format_number(value, 2) for value in rows["slope"]]),
            _interval(result.level): [format_interval(low, high, 2) if show else NOTHING for low, high, show in ends],
            names.with_scale("Level"): [format_change(value, names.digits) for value in rows["level"]],
            "Change per session": [format_change(value, names.digits) for value in rows["drift"]],
            "What stands out": [told.get((assessor, name), NOTHING) for name in rows["attribute"]],
        },
        dtype="str",
    )


def panel_table(result: PanelCheck, names: Naming) -> pd.DataFrame:
    """Return one row per attribute: how well the panel as a whole measures it."""
    panel = result.panel
    own = zip(panel["n_separating"], panel["n_repeated"], strict=True)
    repeatability = panel["repeatability"]
    return pd.DataFrame(
        {
            "Attribute": [names.attribute(str(name)) for name in panel["attribute"]],
            "Do prototypes differ? p": [format_p(value) for value in panel["p_value"]],
            "Reliability of the means": [format_number(value, 2) for value in panel["reliability"]],
            "Assessors who tell apart alone": [_count(count, whole) for count, whole in own],
            "Share of disagreement": [format_share(value) for value in panel["interaction_share"]],
            "Assessors differ in what they see, p": [format_p(value) for value in panel["interaction_p_value"]],
            names.with_scale("Repeatability, SD"): [
                ONE_REPEAT if np.isnan(value) else format_number(value, names.digits) for value in repeatability
            ],
            names.with_scale("Reproducibility, SD"): [format_number(v, names.digits) for v in panel["reproducibility"]],
        },
        dtype="str",
    )


def without_table(tests: pd.DataFrame, names: Naming) -> pd.DataFrame:
    """Return one row per attribute: F with everybody and without each assessor, with p where it is not very small."""
    cells = {(row["attribute"], row["assessor"]): _test(row) for row in tests.to_dict("records")}
    people = [name for name in dict.fromkeys(tests["assessor"]) if name != EVERYBODY]
    attributes = list(dict.fromkeys(tests["attribute"]))
    columns = {f"F (p unless below {_SMALL_P:g})": [names.attribute(str(name)) for name in attributes]}
    for who in (EVERYBODY, *people):
        columns[f"Without {who}" if who else "Everybody"] = [cells.get((name, who), NOTHING) for name in attributes]
    return pd.DataFrame(columns, dtype="str")


def _test(row: Mapping[Any, Any]) -> str:
    """Return F, followed by p in brackets unless that is below `_SMALL_P`."""
    if pd.isna(row["statistic"]):
        return NOTHING
    f = format_number(row["statistic"], 1)
    return f if row["p_value"] < _SMALL_P else f"{f} ({format_p(row['p_value'])})"


def without_differences_table(differences: pd.DataFrame, names: Naming, level: float = 0.95) -> pd.DataFrame:
    """Return one row per difference from the benchmark, with everybody or without an assessor."""
    ends = zip(differences["ci_low"], differences["ci_high"], strict=True)
    return pd.DataFrame(
        {
            "Attribute": [names.attribute(str(name)) for name in differences["attribute"]],
            "Without": [name or "nobody" for name in differences["assessor"]],
            "Prototype": list(differences["prototype"]),
            "Compared with": list(differences["versus"]),
            "Difference (scale units)": [format_change(value, names.digits) for value in differences["estimate"]],
            _interval(level): [format_interval(low, high, names.digits) for low, high in ends],
            "p": [format_p(value) for value in differences["p_value"]],
        },
        dtype="str",
    )


def duplicates_table(result: PanelCheck, names: Naming) -> pd.DataFrame:
    """Return one row per assessor and attribute: how far two samples that are the same were put apart."""
    rows = result.duplicates
    return pd.DataFrame(
        {
            "Assessor": list(rows["assessor"]),
            "Attribute": [names.attribute(str(name)) for name in rows["attribute"]],
            "Pairs": [f"{count:d}" for count in rows["n_pairs"]],
            names.with_scale("Apart"): [format_number(value, names.digits) for value in rows["distance"]],
            names.with_scale("The others"): [format_number(value, names.digits) for value in rows["others_distance"]],
            "Against the others": [format_number(value, 2) for value in rows["ratio"]],
        },
        dtype="str",
    )


def scale_use_table(result: ScaleUse, names: Naming) -> pd.DataFrame:
    """Return one row per attribute: the test of the prototypes by either model, of scaling and of disagreement."""
    rows = result.attributes
    return pd.DataFrame(
        {
            "Attribute": [names.attribute(str(name)) for name in rows["attribute"]],
            "F, as compared": [format_number(value, 2) for value in rows["additive_statistic"]],
            "p, as compared": [format_p(value) for value in rows["additive_p_value"]],
            "F, with use of the scale": [format_number(value, 2) for value in rows["statistic"]],
            "p, with use of the scale": [format_p(value) for value in rows["p_value"]],
            "All use the scale alike? p": [format_p(value) for value in rows["scaling_p_value"]],
            "All see the same differences? p": [format_p(value) for value in rows["disagreement_p_value"]],
        },
        dtype="str",
    )


def scale_factors_table(result: ScaleUse, names: Naming) -> pd.DataFrame:
    """Return one row per attribute and one column per assessor: use of the scale, 1 being the panel's mean."""
    people = list(dict.fromkeys(result.factors["assessor"]))
    cells = {
        (row["attribute"], row["assessor"]): format_number(row["estimate"], 2)
        for row in result.factors.to_dict("records")
    }
    attributes = list(dict.fromkeys(result.factors["attribute"]))
    columns = {"Attribute": [names.attribute(str(name)) for name in attributes]}
    columns |= {str(who): [cells.get((name, who), NOTHING) for name in attributes] for who in people}
    return pd.DataFrame(columns, dtype="str")


def _marks(result: PanelCheck) -> dict[tuple[str, str], str]:
    """Return what stands out of each assessor on each attribute."""
    rows = result.patterns.loc[result.patterns["attribute"] != ""]
    told: dict[tuple[str, str], list[str]] = {}
    for who, attribute, pattern in zip(rows["assessor"], rows["attribute"], rows["pattern"], strict=True):
        told.setdefault((who, attribute), []).append(MARKS[pattern])
    return {key: ", ".join(dict.fromkeys(found)) for key, found in told.items()}


def _count(found: float, of: int) -> str:
    return f"{found:.0f} of {of}" if of else ONE_REPEAT


def _repeats(ratios: pd.Series, repeated: pd.Series) -> list[str]:
    """Return ratios of scatter, and in words that there is none where a person repeated nothing."""
    return [format_number(r, 2) if n > 0 else ONE_REPEAT for r, n in zip(ratios, repeated, strict=True)]


def _where(shown: np.ndarray, cells: list[str]) -> list[str]:
    return [cell if show else NOTHING for show, cell in zip(shown, cells, strict=True)]


def _interval(level: float) -> str:
    return f"{100 * level:g} % interval"
