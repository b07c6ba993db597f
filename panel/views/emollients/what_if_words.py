"""What to expect from a blend that nobody made, in plain sentences and as a table."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from panel.models.emollients.what_if import WhatIf
from panel.views.drawing.formats import NOTHING, format_interval, format_list, format_number, format_share
from panel.views.drawing.naming import Naming

_DIRECTIONS = {1: "higher", -1: "lower", 0: "not known"}


def what_if_headline(result: WhatIf, base: str) -> str:
    """Return whether anything can be predicted, and how."""
    if result.made_as:
        return f"This blend was made: it is {result.made_as}. Look at its own scores rather than at a prediction."
    if result.inside:
        return "Inside the tested region: a profile can be predicted. Make it and test it."
    if (result.profile["direction"] == 0).all():
        return "Outside the tested region: no number can be given, and no direction either."
    return f"Outside the tested region: no number can be given, only directions, compared with {base}."


def what_if_sentences(result: WhatIf, names: Naming) -> tuple[str, ...]:
    """Return one sentence per attribute with a target window, or the directions outside the tested region."""
    rows = result.profile.to_dict("records")
    if not result.inside:
        return tuple(_outside(result, names))
    wanted = [row for row in rows if not (pd.isna(row["target_low"]) and pd.isna(row["target_high"]))]
    return tuple(_inside(row, result.level, names) for row in (wanted or rows))


def what_if_table(result: WhatIf, names: Naming) -> pd.DataFrame:
    """Return one row per attribute: predicted mean with interval and window, or the direction alone."""
    profile = result.profile
    table: dict[str, list[str]] = {"Attribute": [names.attribute(str(name)) for name in profile["attribute"]]}
    if result.inside:
        ends = zip(profile["ci_low"], profile["ci_high"], strict=True)
        table |= {
            names.with_scale("Expected mean"): [format_number(value, names.digits) for value in profile["estimate"]],
            f"{100 * result.level:g} % interval": [format_interval(low, high, names.digits) for low, high in ends],
            "Base": [format_number(value, names.digits) for value in profile["base"]],
            "Wanted": [window_words(low, high) for low, high in _windows(profile)],
            "Chance to be in the window": [format_share(value) for value in profile["chance"]],
        }
    else:
        table["Direction from the base"] = [_DIRECTIONS[int(sign)] for sign in profile["direction"]]
    return pd.DataFrame(table, dtype="str")


def window_words(low: float, high: float) -> str:
    """Return a target window in words: `38 or less`, `55 or more`, `30 to 40`; an en dash for none."""
    if pd.isna(low) and pd.isna(high):
        return NOTHING
    ends = [format_number(end, 0 if pd.isna(end) or float(end).is_integer() else 1) for end in (low, high)]
    if pd.isna(low):
        return f"{ends[1]} or less"
    return f"{ends[0]} or more" if pd.isna(high) else f"{ends[0]} to {ends[1]}"


def what_if_alt_text(result: WhatIf, names: Naming) -> str:
    """Return what a person who cannot see the picture of the predicted profile should hear."""
    return f"Predicted profile with intervals and target windows. {' '.join(what_if_sentences(result, names))}"


def _windows(profile: pd.DataFrame) -> list[tuple[float, float]]:
    return list(zip(profile["target_low"].astype(float), profile["target_high"].astype(float), strict=True))


def _inside(row: Mapping[Any, Any], level: float, names: Naming) -> str:
    attribute, low, high = names.attribute(str(row["attribute"])), float(row["ci_low"]), float(row["ci_high"])
    mean = format_number(float(row["estimate"]), 0 if names.digits == 1 else names.digits)
    ends = format_interval(low, high, 0 if names.digits == 1 else names.digits)
    told = f"{attribute}: expect {mean} ({100 * level:g} % interval {ends})"
    window = (float(row["target_low"]), float(row["target_high"]))
    if pd.isna(window[0]) and pd.isna(window[1]):
        return f"{told}."
    wanted = window_words(*window)
    if _within(low, high, window):
        return f"{told}; wanted is {wanted}: the whole interval is in the window."
    if _beyond(low, high, window):
        return f"{told}; wanted is {wanted}: the whole interval misses it."
    return f"{told}; wanted is {wanted}: {_odds(float(row['chance']))}."


def _odds(chance: float) -> str:
    if chance >= 0.5:
        return f"more likely in than out ({format_share(chance)})"
    return f"more likely out than in ({format_share(chance)} to be in)"


def _within(low: float, high: float, window: tuple[float, float]) -> bool:
    return (pd.isna(window[0]) or low >= window[0]) and (pd.isna(window[1]) or high <= window[1])


def _beyond(low: float, high: float, window: tuple[float, float]) -> bool:
    return (not pd.isna(window[0]) and high < window[0]) or (not pd.isna(window[1]) and low > window[1])


def _outside(result: WhatIf, names: Naming) -> list[str]:
    told = {
        sign: [
            names.attribute(str(name)) for name in result.profile.loc[result.profile["direction"] == sign, "attribute"]
        ]
        for sign in (1, -1, 0)
    }
    sentences = []
    if told[1]:
        sentences.append(f"Likely higher than the base: {format_list(told[1])}.")
    if told[-1]:
        sentences.append(f"Likely lower than the base: {format_list(told[-1])}.")
    if told[0]:
        sentences.append(f"Direction not known: {format_list(told[0])}.")
    return sentences
