"""Differences, means and the map as tables a person reads: rounded, in words, with units."""

from __future__ import annotations

import numpy as np
import pandas as pd

from panel.models.prototypes.map import PrototypeMap
from panel.views.drawing.formats import (
    format_change,
    format_interval,
    format_number,
    format_p,
    format_share,
)
from panel.views.drawing.naming import Naming


def means_table(means: pd.DataFrame, names: Naming) -> pd.DataFrame:
    """Return one row per attribute and one column per prototype: mean and, where given, its letters."""
    letters = means["letters"] if "letters" in means else pd.Series("", index=means.index)
    cells = [
        f"{format_number(estimate, names.digits)} {letter}".strip()
        for estimate, letter in zip(means["estimate"], letters, strict=True)
    ]
    written = dict(zip(zip(means["attribute"], means["prototype"], strict=True), cells, strict=True))
    prototypes = list(dict.fromkeys(means["prototype"]))
    rows = [
        [names.attribute(attribute), *(written.get((attribute, prototype), "–") for prototype in prototypes)]
        for attribute in dict.fromkeys(means["attribute"])
    ]
    return pd.DataFrame(rows, columns=[_means_heading(names), *prototypes], dtype="str")


def mean_intervals_table(means: pd.DataFrame, names: Naming, level: float = 0.95) -> pd.DataFrame:
    """Return one row per attribute and prototype: mean, standard error, interval, letters where given."""
    table = {
        "Attribute": _attributes(means, names),
        "Prototype": list(means["prototype"]),
        names.with_scale("Mean"): _numbers(means["estimate"], names.digits),
        "Standard error": _numbers(means["std_error"], names.digits + 1),
        _interval_heading(level): _intervals(means, names.digits),
    }
    if "letters" in means:
        table["Not told apart if they share a letter"] = list(means["letters"])
    return pd.DataFrame(table, dtype="str")


def pairs_table(pairs: pd.DataFrame, names: Naming, level: float = 0.95) -> pd.DataFrame:
    """Return one row per difference: estimate, interval, adjusted p-value and, where given, the verdict."""
    table = {
        "Attribute": _attributes(pairs, names),
        "Prototype": list(pairs["prototype"]),
        "Compared with": list(pairs["versus"]),
        "Difference (scale units)": [format_change(value, names.digits) for value in pairs["estimate"]],
        _interval_heading(level): _intervals(pairs, names.digits),
        "p, adjusted": [format_p(value) for value in pairs["p_adjusted"]],
    }
    if "verdict" in pairs:
        table["In words"] = list(pairs["verdict"])
    return pd.DataFrame(table, dtype="str")


def attributes_table(attributes: pd.DataFrame, names: Naming, level: float = 0.95) -> pd.DataFrame:
    """Return one row per attribute: the F test that no prototype differs, and what it says."""
    return pd.DataFrame(
        {
            "Attribute": _attributes(attributes, names),
            "Stage": [names.stage(str(name)) or "–" for name in attributes["attribute"]],
            "F": _numbers(attributes["statistic"], 2),
            "Degrees of freedom": [
                f"{format_number(df, 0)}; {format_number(df_error, 1)}"
                for df, df_error in zip(attributes["df"], attributes["df_error"], strict=True)
            ],
            "p": [format_p(value) for value in attributes["p_value"]],
            "p, adjusted": [format_p(value) for value in attributes["p_adjusted"]],
            "Do prototypes differ?": [
                "–" if np.isnan(value) else "yes" if value < round(1 - level, 12) else "cannot tell"
                for value in attributes["p_adjusted"]
            ],
        },
        dtype="str",
    )


def variances_table(variances: pd.DataFrame, names: Naming) -> pd.DataFrame:
    """Return one row per attribute: how much scores scatter, and why, as standard deviations in scale units."""
    headings = {
        "assessor": "Assessors use other levels",
        "assessor_prototype": "Assessors see prototypes differently",
        "session": "An assessor's level changes between sessions",
        "residual": "Left over",
    }
    columns = {
        f"{heading} (scale units)": [
            format_number(np.sqrt(value) if value >= 0 else float("nan"), names.digits) for value in variances[column]
        ]
        for column, heading in headings.items()
        if column in variances
    }
    return pd.DataFrame({"Attribute": _attributes(variances, names)} | columns, dtype="str")


def components_table(result: PrototypeMap) -> pd.DataFrame:
    """Return one row per component of a map: its share, the share so far, and what chance alone may reach."""
    components = result.components
    return pd.DataFrame(
        {
            "Component": [f"{number:d}" for number in components["component"]],
            "Share of the differences": [format_share(value) for value in components["share"]],
            "Together with those before": [format_share(min(value, 1.0)) for value in components["share"].cumsum()],
            "Unrelated attributes reach (1 case in 20)": [format_share(value) for value in components["chance_share"]],
        },
        dtype="str",
    )


def map_attributes_table(result: PrototypeMap, names: Naming) -> pd.DataFrame:
    """Return one row per attribute of a map: its stage and its correlation with either component."""
    wide = result.attributes.pivot_table(index="attribute", columns="component", values="loading", sort=False)
    return pd.DataFrame(
        {
            "Attribute": [names.attribute(str(name)) for name in wide.index],
            "Stage": [names.stage(str(name)) or "–" for name in wide.index],
            "Correlation with component 1": _numbers(wide[1], 2),
            "Correlation with component 2": _numbers(wide[2], 2),
        },
        dtype="str",
    )


def map_places_table(result: PrototypeMap, names: Naming) -> pd.DataFrame:
    """Return one row per prototype of a map: its place, the half axes of its ring, assessors behind it."""
    regions = result.regions
    return pd.DataFrame(
        {
            "Prototype": [names.prototype(str(name)) for name in regions["prototype"]],
            "Component 1": _numbers(regions["centre_1"], names.digits),
            "Component 2": _numbers(regions["centre_2"], names.digits),
            "Ring, longer half": _numbers(regions["half_axis_1"], names.digits),
            "Ring, shorter half": _numbers(regions["half_axis_2"], names.digits),
            "Assessors": [f"{count:d}" for count in regions["assessors"]],
        },
        dtype="str",
    )


def _attributes(frame: pd.DataFrame, names: Naming) -> list[str]:
    return [names.attribute(str(name)) for name in frame["attribute"]]


def _numbers(values: pd.Series, digits: int) -> list[str]:
    return [format_number(value, digits) for value in values]


def _intervals(frame: pd.DataFrame, digits: int) -> list[str]:
    ends = zip(frame["ci_low"], frame["ci_high"], strict=True)
    return [format_interval(low, high, digits) for low, high in ends]


def _means_heading(names: Naming) -> str:
    return f"Attribute (means, {names.scale})" if names.scale else "Attribute (means)"


def _interval_heading(level: float) -> str:
    return f"{100 * level:g} % interval"
