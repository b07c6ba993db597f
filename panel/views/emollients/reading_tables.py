"""Instrument readings, their links to the panel and what swaps did to them, as tables a person reads."""

from __future__ import annotations

import pandas as pd

from panel.models.emollients.readings import JoinedReadings
from panel.views.drawing.formats import NOTHING, format_change, format_interval, format_number, format_p, format_share
from panel.views.drawing.naming import Naming
from panel.views.emollients.reading_words import format_reading, measure_title, unit_words
from panel.views.emollients.swap_words import swap_words

_DIRECTIONS = {"same": "together", "opposite": "opposite ways"}


def readings_table(result: JoinedReadings) -> pd.DataFrame:
    """Return one row per measure and one column per prototype: mean, and the scatter of repeats."""
    prototypes = list(dict.fromkeys(result.means["prototype"]))
    written = {
        (row["measure"], row["prototype"]): f"{format_reading(row['estimate'])} ± {format_reading(row['sd'], 2)}"
        for row in result.means.to_dict("records")
    }
    rows = [
        [
            measure_title(row["measure"], row["unit"]),
            *(written.get((row["measure"], name), NOTHING) for name in prototypes),
            _range(row["fewest"], row["most"]),
            format_share(row["cv"], 1),
            format_share(row["noise_share"]),
        ]
        for row in result.measures.to_dict("records")
    ]
    headings = ["Readings", "Coefficient of variation", "Scatter, share of differences"]
    return pd.DataFrame(rows, columns=["Measure (mean ± SD of repeats)", *prototypes, *headings], dtype="str")


def partners_table(result: JoinedReadings, names: Naming) -> pd.DataFrame:
    """Return one row per pair declared beforehand: correlation, interval, what is needed, verdict."""
    rows = result.partners
    return pd.DataFrame(
        {
            "Attribute": [names.attribute(str(name)) for name in rows["attribute"]],
            "Reading": list(rows["measure"]),
            "Expected": [_DIRECTIONS.get(str(way), NOTHING) for way in rows["expected"]],
            "Why expected": [str(source) or NOTHING for source in rows["source"]],
            "r": [format_number(value, 2) for value in rows["estimate"]],
            f"{100 * result.level:g} % interval": _intervals(rows, 2),
            "Prototypes": [f"{count:d}" for count in rows["n"]],
            "r needed": [format_number(value, 2) for value in rows["needed"]],
            "p": [format_p(value) for value in rows["p_value"]],
            "p, adjusted": [format_p(value) for value in rows["p_adjusted"]],
            "In words": list(rows["verdict"]),
        },
        dtype="str",
    )


def screening_table(result: JoinedReadings, names: Naming) -> pd.DataFrame:
    """Return one row per pair that was not declared, the clearest first."""
    rows = result.screening
    return pd.DataFrame(
        {
            "Attribute": [names.attribute(str(name)) for name in rows["attribute"]],
            "Reading": list(rows["measure"]),
            "r": [format_number(value, 2) for value in rows["estimate"]],
            f"{100 * result.level:g} % interval": _intervals(rows, 2),
            "Prototypes": [f"{count:d}" for count in rows["n"]],
            "p": [format_p(value) for value in rows["p_value"]],
            "p, adjusted": [format_p(value) for value in rows["p_adjusted"]],
            "Stands out": ["yes" if value < 1 - result.level else "no" for value in rows["p_adjusted"]],
        },
        dtype="str",
    )


def reading_swaps_table(result: JoinedReadings) -> pd.DataFrame:
    """Return one row per swap and measure: mean change, and mean ratio as a change in per cent."""
    rows = result.swaps
    at = f"{100 * result.level:g} % interval"
    return pd.DataFrame(
        {
            "Swap": [swap_words(str(swap)) for swap in rows["swap"]],
            "Measure": list(rows["measure"]),
            "Pairs": [f"{count:d}" for count in rows["n_pairs"]],
            "Change": [_signed(value) for value in rows["estimate"]],
            "Unit": [unit_words(str(unit)) or NOTHING for unit in rows["unit"]],
            f"{at} of the change": [
                f"{_signed(low)} to {_signed(high)}" if low == low else NOTHING
                for low, high in zip(rows["ci_low"], rows["ci_high"], strict=True)
            ],
            "Change, %": [format_change(100 * (value - 1), 0) for value in rows["ratio"]],
            f"{at}, %": _percent_intervals(rows, "ratio_ci_low", "ratio_ci_high"),
            "Lowest and highest pair, %": _percent_intervals(rows, "ratio_lowest", "ratio_highest"),
        },
        dtype="str",
    )


def _intervals(rows: pd.DataFrame, digits: int) -> list[str]:
    return [format_interval(low, high, digits) for low, high in zip(rows["ci_low"], rows["ci_high"], strict=True)]


def _percent_intervals(rows: pd.DataFrame, low: str, high: str) -> list[str]:
    ends = zip(100 * (rows[low] - 1), 100 * (rows[high] - 1), strict=True)
    return [
        NOTHING if first != first else f"{format_change(first, 0)} to {format_change(last, 0)}" for first, last in ends
    ]


def _signed(value: float) -> str:
    text = format_reading(value)
    return f"+{text}" if value > 0 else text


def _range(low: int, high: int) -> str:
    return f"{low}" if low == high else f"{low} to {high}"
