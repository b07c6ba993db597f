"""Effects of the swaps and descriptors of the blends as tables a person reads."""

from __future__ import annotations

import pandas as pd

from panel.models.emollients.descriptors import BlendDescriptors
from panel.models.emollients.swaps import TracedSwaps
from panel.views.drawing.formats import NOTHING, format_change, format_interval, format_number, format_p
from panel.views.drawing.naming import Naming
from panel.views.emollients.swap_words import SEEN, descriptor_words, effect_digits, swap_words

# Unit of each descriptor; shares and the emollient total are per cent.
_UNITS = {
    "spreading_whole": "mm² in 10 min",
    "spreading_liquids": "mm² in 10 min",
    "spreading_breadth": "decades",
    "log10_viscosity_liquids": "log10 of mPa s",
    "surface_tension": "mN/m",
    "surface_tension_lowest": "mN/m",
    "interfacial_tension": "mN/m",
    "molar_mass_by_mass": "g/mol",
    "molar_mass_by_number": "g/mol",
}
_DECIMALS = {"spreading_breadth": 2, "log10_viscosity_liquids": 2}
_WEAK, _FROM_MEMORY = "little of it known", "partly from memory"


def swaps_table(result: TracedSwaps, names: Naming) -> pd.DataFrame:
    """Return one row per swap (or joint change) and attribute: its effect with interval and p-values."""
    effects = pd.concat([result.swaps, result.joint], ignore_index=True)
    digits = effect_digits(result) + 1
    ends = zip(effects["ci_low"], effects["ci_high"], strict=True)
    return pd.DataFrame(
        {
            "Swap": [swap_words(str(swap)) for swap in effects["swap"]],
            "Attribute": [names.attribute(str(name)) for name in effects["attribute"]],
            "Effect (points)": [format_change(value, digits) for value in effects["estimate"]],
            f"{100 * result.level:g} % interval": [format_interval(low, high, digits) for low, high in ends],
            "p": [format_p(value) for value in effects["p_value"]],
            "p, adjusted": [format_p(value) for value in effects["p_adjusted"]],
            "Stands out": ["yes" if value < SEEN else "no" for value in effects["p_adjusted"]],
            "Pairs": [f"{count:d}" for count in effects["n_pairs"]],
            "Assessors": [f"{count:d}" for count in effects["n_assessors"]],
        },
        dtype="str",
    )


def descriptors_table(result: BlendDescriptors) -> pd.DataFrame:
    """Return one row per descriptor and one column per prototype; how much of it is known, and what to mind.

    A descriptor that is zero or unknown for every prototype has no row.
    """
    rows = []
    for descriptor, part in result.values.groupby("descriptor", sort=False):
        name, values = str(descriptor), part["value"]
        if values.isna().all() or (values == 0).all():
            continue
        shown = [format_number(value, _DECIMALS.get(name, 0)) for value in values]
        marks = [_WEAK] * bool(part["weak"].any()) + [_FROM_MEMORY] * bool((part["from_memory"] > 0).any())
        rows.append([_heading(name), *shown, _coverage(part["coverage"]), ", ".join(marks) or NOTHING])
    prototypes = [str(name) for name in result.wide.index]
    return pd.DataFrame(rows, columns=["Descriptor of the blend", *prototypes, "Mass known", "Mind"], dtype="str")


def _heading(descriptor: str) -> str:
    words = descriptor_words(descriptor)
    return f"{words[0].upper()}{words[1:]}, {_UNITS.get(descriptor, '%')}"


def _coverage(coverage: pd.Series) -> str:
    """Return the per cent of the mass whose value is known, from the prototype with least to that with most."""
    known = coverage.dropna()
    if known.empty:
        return NOTHING
    low, high = (format_number(value, 0) for value in (known.min(), known.max()))
    return f"{low} %" if low == high else f"{low} to {high} %"
