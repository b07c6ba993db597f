"""What the measured curves reduce to, as tables a person reads."""

from __future__ import annotations

import pandas as pd

from panel.models.emollients.curves import ReducedCurves
from panel.models.emollients.flow_curves import MODEL_WORDS, PARAMETER_UNITS
from panel.stats.curves.flow_models import FLOW_MODELS
from panel.views.drawing.formats import NOTHING, format_number
from panel.views.emollients.curve_words import PARAMETER_WORDS, RATE_WORDS
from panel.views.emollients.reading_words import format_reading, measure_title, unit_words


def flow_models_table(result: ReducedCurves) -> pd.DataFrame:
    """Return one row per flow curve: AICc of every model above the best one of that curve."""
    rows = result.flow.models
    if rows.empty:
        return pd.DataFrame()
    wide = rows.pivot_table(index=["prototype", "repeat"], columns="model", values="difference", sort=False)
    best = rows.loc[rows["difference"] == 0].drop_duplicates(["prototype", "repeat"])
    columns = {
        f"{MODEL_WORDS[model]}, AICc above the best": [format_number(value, 1) for value in wide[model]]
        for model in FLOW_MODELS
        if model in wide
    }
    return pd.DataFrame(
        {
            "Prototype": [str(prototype) for prototype, _ in wide.index],
            "Repeat": [str(repeat) or NOTHING for _, repeat in wide.index],
            **columns,
            "Best by itself": [_words(str(model)) for model in best["model"]],
        },
        dtype="str",
    )


def flow_table(result: ReducedCurves) -> pd.DataFrame:
    """Return one row per flow curve: the parameters of the model used, with their intervals."""
    rows = result.flow.parameters
    if rows.empty:
        return pd.DataFrame()
    table = _curve_columns(rows)
    for parameter in dict.fromkeys(rows["parameter"]):
        own = rows.loc[rows["parameter"] == parameter]
        heading = measure_title(PARAMETER_WORDS[str(parameter)], PARAMETER_UNITS[str(parameter)])
        table[heading] = [format_reading(value) for value in own["estimate"]]
        table[f"{heading}: {100 * result.level:g} % interval"] = _reading_intervals(own)
    if result.flow.model != "power_law":
        seen = result.flow.yield_stresses["yield_stress_seen"].astype(bool)
        table["Can a yield stress be told?"] = ["yes" if value else "no" for value in seen]
    return pd.DataFrame(table, dtype="str")


def viscosities_table(result: ReducedCurves) -> pd.DataFrame:
    """Return one row per flow curve and shear rate: viscosity with its interval, and whether it was measured."""
    rows = result.flow.viscosities
    if rows.empty:
        return pd.DataFrame()
    return pd.DataFrame(
        {
            "Prototype": list(rows["prototype"]),
            "Repeat": [str(repeat) or NOTHING for repeat in rows["repeat"]],
            "Shear rate, 1/s": [f"{rate:g}" for rate in rows["rate"]],
            "Stands for": [RATE_WORDS.get(float(rate), NOTHING) for rate in rows["rate"]],
            "Viscosity, Pa s": [format_reading(value) for value in rows["estimate"]],
            f"{100 * result.level:g} % interval": _reading_intervals(rows),
            "Measured": ["no, beyond the measured rates" if beyond else "yes" for beyond in rows["extrapolated"]],
        },
        dtype="str",
    )


def force_table(result: ReducedCurves) -> pd.DataFrame:
    """Return one row per force curve and quantity, with what it was taken over."""
    rows = result.force.quantities
    return pd.DataFrame(
        {
            "Prototype": list(rows["prototype"]),
            "Repeat": [str(repeat) or NOTHING for repeat in rows["repeat"]],
            "Quantity": list(rows["measure"]),
            "Value": [format_reading(float(value)) for value in rows["estimate"]],
            "Unit": [unit_words(str(unit)) for unit in rows["unit"]],
            "Taken as": list(rows["limits"]),
            "Joined to the panel": ["yes" if used else "no" for used in rows["used"]],
        },
        dtype="str",
    )


def _curve_columns(rows: pd.DataFrame) -> dict[str, list[str]]:
    curves = rows[["prototype", "repeat"]].drop_duplicates()
    return {
        "Prototype": list(curves["prototype"]),
        "Repeat": [str(repeat) or NOTHING for repeat in curves["repeat"]],
    }


def _words(model: str) -> str:
    return next(words for name, words in MODEL_WORDS.items() if name == model)


def _reading_intervals(rows: pd.DataFrame) -> list[str]:
    ends = zip(rows["ci_low"], rows["ci_high"], strict=True)
    return [NOTHING if low != low else f"{format_reading(low)} to {format_reading(high)}" for low, high in ends]
