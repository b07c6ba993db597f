"""What to know before trusting the descriptors of a blend."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from panel.models.emollients.ingredient_values import BlendValues

_ALWAYS = (
    "Branching is left out: it cannot be read from a structure without a chemistry library. Unsaturation is read from "
    "the structure, which natural oils, butters and mixtures do not have.",
    "Interfacial tension only ranks materials: published values of one material differ by half.",
)


def descriptor_notes(blend: pd.DataFrame, known: BlendValues, values: pd.DataFrame) -> tuple[str, ...]:
    """Return the notes on these blends; `values` are the descriptors in long form."""
    return (*_on_materials(blend, known), *_on_figures(values), *_on_own(known.own), *_ALWAYS)


def _on_materials(blend: pd.DataFrame, known: BlendValues) -> Iterator[str]:
    names = np.asarray(blend.columns, dtype=object)
    unknown = names[known.family == ""]
    if unknown.size:
        yield (
            f"Not in the emollient table: {', '.join(unknown)}. What is not known of them lowers the coverage; add "
            "own values in the table ingredient_values."
        )
    stand_ins = names[(known.structure != "the substance") & ~np.isnan(known.values["molar_mass_g_mol"])]
    if stand_ins.size:
        yield f"Molar mass is that of one substance standing for a mixture: {', '.join(stand_ins)}."
    amounts = blend.to_numpy()
    solid = known.values["solid"] == 1
    if solid.any() and np.ptp(amounts[:, solid].sum(axis=1)) > 0:
        yield (
            "The solid share differs between the prototypes. Figures of the liquids alone can then say 'lighter' where "
            "the cream is richer: read the whole-blend spreading and the solid share first."
        )


def _on_figures(values: pd.DataFrame) -> Iterator[str]:
    weak = list(dict.fromkeys(values.loc[values["weak"], "descriptor"]))
    if weak:
        yield f"Weak, because values are missing for much of the mass of some prototype: {', '.join(weak)}."
    memory = list(dict.fromkeys(values.loc[values["from_memory"] > 0, "descriptor"]))
    if memory:
        yield (
            f"Rests at least in part on values from memory, not on a source that was read: {', '.join(memory)}. "
            "Measure or cite before quoting them."
        )


def _on_own(own: pd.DataFrame) -> Iterator[str]:
    if len(own):
        named = ", ".join(f"{row.property} of {row.ingredient}" for row in own.itertuples())
        yield f"Own measurements came before table values: {named}."
