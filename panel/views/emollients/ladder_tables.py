"""The rungs of the ladder as tables a person reads."""

from __future__ import annotations

import pandas as pd

from panel.models.emollients.ladder import Ladder
from panel.views.drawing.formats import NOTHING, format_interval, format_number, format_p, format_share
from panel.views.drawing.naming import Naming
from panel.views.emollients.ladder_words import ladder_words
from panel.views.emollients.swap_words import descriptor_words

_EXPECTED = {1: "rises", -1: "falls", 0: NOTHING}
_AGREES = {1.0: "yes", 0.0: "no"}


def ladder_table(ladder: Ladder, names: Naming) -> pd.DataFrame:
    """Return one row per rung: what it adds, what it cannot say, or why the ladder stops there."""
    words = ladder_words(ladder, names)
    return pd.DataFrame(
        {
            "Rung": [f"{number}. {each.title}" for number, each in enumerate(words, start=1)],
            "What it adds": [each.adds or each.stopped for each in words],
            "What it cannot say": [each.cannot or NOTHING for each in words],
        },
        dtype="str",
    )


def links_table(ladder: Ladder, names: Naming) -> pd.DataFrame:
    """Return one row per attribute and property, the closest first; without rows if the rung was not climbed."""
    if ladder.links is None:
        return pd.DataFrame(dtype="str")
    links = ladder.links.links
    links = links.loc[links["r"].notna()]
    links = links.iloc[(-links["r"].abs()).argsort(kind="stable")]
    n = int(ladder.links.facts["n"].iloc[0])
    return pd.DataFrame(
        {
            "Attribute": [names.attribute(str(name)) for name in links["attribute"]],
            "Property of the blend": [descriptor_words(str(name)) for name in links["descriptor"]],
            f"r ({n} blends)": [format_number(value, 2) for value in links["r"]],
            "Slope": [_significant(value) for value in links["slope"]],
            "Slope without any one blend": [
                f"{_significant(low)} to {_significant(high)}"
                for low, high in zip(links["slope_low"], links["slope_high"], strict=True)
            ],
            "p": [format_p(value) for value in links["p_value"]],
            "p, adjusted": [format_p(value) for value in links["p_adjusted"]],
            "Said beforehand": [_EXPECTED[int(sign)] for sign in links["expected"]],
            "As said": [_AGREES.get(value, NOTHING) for value in links["agrees"]],
            "Moves with others": ["yes" if aliased else "no" for aliased in links["aliased"]],
        },
        dtype="str",
    )


def prediction_table(ladder: Ladder, names: Naming) -> pd.DataFrame:
    """Return one row per attribute: how well left-out prototypes are predicted, against chance and the swaps."""
    numbers = ladder.prediction
    if numbers.empty:
        return pd.DataFrame(dtype="str")
    return pd.DataFrame(
        {
            "Attribute": [names.attribute(str(name)) for name in numbers["attribute"]],
            "Q2, all properties": [format_number(value, 2) for value in numbers["q2"]],
            "Q2, chance (1 in 20)": [format_number(value, 2) for value in numbers["q2_chance"]],
            "Q2, the swaps alone": [format_number(value, 2) for value in numbers["q2_swaps"]],
            "p": [format_p(value) for value in numbers["p_value"]],
            "p, adjusted": [format_p(value) for value in numbers["p_adjusted"]],
            "Smallest p possible": [format_p(value) for value in numbers["floor"]],
            "Most that can be explained": [format_share(value) for value in numbers["ceiling"]],
        },
        dtype="str",
    )


def mixture_table(ladder: Ladder, names: Naming) -> pd.DataFrame:
    """Return one row per attribute and mixture model; without rows if the rung was not climbed."""
    numbers = ladder.rung("mixture").numbers
    if numbers.empty:
        return pd.DataFrame(dtype="str")
    return pd.DataFrame(
        {
            "Attribute": [names.attribute(str(name)) for name in numbers["attribute"]],
            "Model": list(numbers["model"]),
            "Q2": [format_number(value, 2) for value in numbers["q2"]],
            "p, the blend makes no difference": [format_p(value) for value in numbers["p_value"]],
            "p, the model misses nothing": [format_p(value) for value in numbers["lack_p"]],
            "Blends to spare": [f"{count:d}" for count in numbers["df_error"]],
        },
        dtype="str",
    )


def prototype_effects_table(ladder: Ladder, names: Naming) -> pd.DataFrame:
    """Return one row per attribute and swap with prototypes as the units; without rows if that was not possible."""
    numbers = ladder.rung("prototypes").numbers
    if numbers.empty:
        return pd.DataFrame(dtype="str")
    ends = zip(numbers["ci_low"], numbers["ci_high"], strict=True)
    return pd.DataFrame(
        {
            "Swap": [str(swap).replace(" -> ", " → ") for swap in numbers["swap"]],
            "Attribute": [names.attribute(str(name)) for name in numbers["attribute"]],
            "Effect (points)": [format_number(value, names.digits) for value in numbers["estimate"]],
            f"{100 * ladder.level:g} % interval": [format_interval(low, high, names.digits) for low, high in ends],
            "p, adjusted": [format_p(value) for value in numbers["p_adjusted"]],
        },
        dtype="str",
    )


def _significant(value: float) -> str:
    """Return a slope with two significant digits: properties have very different units."""
    if pd.isna(value):
        return NOTHING
    size = abs(value)
    digits = 0
    while digits < 4 and size * 10**digits < 10:
        digits += 1
    return format_number(value, digits)
