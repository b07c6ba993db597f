"""What happens over time as tables a person reads."""

from __future__ import annotations

import pandas as pd

from panel.models.over_time.after_feel import AfterFeel
from panel.models.over_time.dominance import Dominances
from panel.models.over_time.intensity import QUANTITIES, Courses
from panel.views.drawing.formats import format_change, format_interval, format_number, format_p, format_share
from panel.views.drawing.naming import Naming

_TERMS = {
    "prototype": "Prototypes, over all times",
    "time": "Times, over all prototypes",
    "prototype_time": "Prototype x time",
}


def after_feel_tests_table(result: AfterFeel) -> pd.DataFrame:
    """Return one row per attribute and question: F, degrees of freedom, p-values."""
    rows = result.tests
    return pd.DataFrame(
        {
            "Attribute": list(rows["name"]),
            "What is tested": [_TERMS[term] for term in rows["term"]],
            "F": [format_number(value, 2) for value in rows["statistic"]],
            "Degrees of freedom": [
                f"{format_number(df, 0)}; {format_number(df_error, 1)}"
                for df, df_error in zip(rows["df"], rows["df_error"], strict=True)
            ],
            "p": [format_p(value) for value in rows["p_value"]],
            "p, adjusted": [format_p(value) for value in rows["p_adjusted"]],
        },
        dtype="str",
    )


def after_feel_means_table(result: AfterFeel, names: Naming) -> pd.DataFrame:
    """Return one row per attribute, time and prototype: estimated mean with interval."""
    rows = result.curves
    return pd.DataFrame(
        {
            "Attribute": list(rows["name"]),
            "Minutes": [f"{value:g}" for value in rows["minutes"]],
            "Prototype": list(rows["prototype"]),
            names.with_scale("Mean"): [format_number(value, names.digits) for value in rows["estimate"]],
            f"{100 * result.level:g} % interval": _intervals(rows, names.digits),
        },
        dtype="str",
    )


def after_feel_versus_table(result: AfterFeel, names: Naming) -> pd.DataFrame:
    """Return one row per difference from the benchmark at each time."""
    rows = result.versus
    return pd.DataFrame(
        {
            "Attribute": list(rows["name"]),
            "Minutes": [f"{value:g}" for value in rows["minutes"]],
            "Prototype": list(rows["prototype"]),
            "Compared with": list(rows["versus"]),
            "Difference (scale units)": [format_change(value, names.digits) for value in rows["estimate"]],
            f"{100 * result.level:g} % interval, simultaneous": _intervals(rows, names.digits),
            "p, adjusted": [format_p(value) for value in rows["p_adjusted"]],
        },
        dtype="str",
    )


def courses_table(result: Courses, names: Naming) -> pd.DataFrame:
    """Return one row per attribute and prototype: mean of each quantity over its courses."""
    means = result.courses.groupby(["attribute", "prototype"], sort=False)[list(QUANTITIES)].mean().reset_index()
    return pd.DataFrame(
        {
            "Attribute": [names.attribute(str(name)) for name in means["attribute"]],
            "Prototype": list(means["prototype"]),
        }
        | {
            f"{words[0].upper()}{words[1:]}": [format_number(value, 2) for value in means[quantity]]
            for quantity, words in QUANTITIES.items()
        },
        dtype="str",
    )


def dominance_table(result: Dominances, names: Naming) -> pd.DataFrame:
    """Return one row per stretch of time in which a sensation is dominant beyond chance."""
    rows = result.periods
    lines = {row["prototype"]: row for row in result.lines.to_dict("records")}
    return pd.DataFrame(
        {
            "Prototype": list(rows["prototype"]),
            "Dominant": [names.attribute(str(name)) for name in rows["attribute"]],
            "From, % of the time": [format_number(100 * value, 0) for value in rows["start"]],
            "To, % of the time": [format_number(100 * value, 0) for value in rows["end"]],
            "Highest rate": [format_share(value) for value in rows["highest"]],
            "Beyond chance from": [format_share(lines[name]["line"], 1) for name in rows["prototype"]],
            "Evaluations": [str(lines[name]["n"]) for name in rows["prototype"]],
        },
        dtype="str",
    )


def _intervals(rows: pd.DataFrame, digits: int) -> list[str]:
    return [format_interval(low, high, digits) for low, high in zip(rows["ci_low"], rows["ci_high"], strict=True)]
