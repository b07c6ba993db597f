"""The values of the emollients in a study's blends, and where each of them comes from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel.study.knowledge import OWN_MEASUREMENT, emollient_table, emollient_value
from panel.study.study import Study

FROM_MEMORY = "from memory"
# So says the table where a structure only illustrates a natural oil: its molar mass must not enter a calculation.
ILLUSTRATION = "for illustration"
USED_PROPERTIES = (
    "viscosity_mpa_s",
    "spreading_mm2_10min",
    "surface_tension_mn_m",
    "interfacial_tension_mn_m",
    "molar_mass_g_mol",
    "volatile",
    "solid",
)


@dataclass(frozen=True, eq=False, slots=True)
class BlendValues:
    """Values of some emollients, in their order.

    Parameters
    ----------
    values, from_memory
        Per property the values (NaN unknown) and whether their source is memory.
    family, smiles, structure
        Chemical family, structure and what the structure stands for, empty where unknown.
    own
        The user's own measurements that came before table values: `ingredient property value table_value measured_on
        method`.
    """

    values: dict[str, NDArray[np.float64]]
    from_memory: dict[str, NDArray[np.bool_]]
    family: NDArray[np.object_]
    smiles: NDArray[np.object_]
    structure: NDArray[np.object_]
    own: pd.DataFrame


def blend_values(study: Study, ingredients: tuple[str, ...]) -> BlendValues:
    """Return what is known of `ingredients`, the study's own measurements before the shared table."""
    table = emollient_table().set_index("ingredient").reindex(list(ingredients))
    values = {name: table[name].to_numpy(dtype=float).copy() for name in USED_PROPERTIES}
    sources = {name: table.get(f"{name}_source", table["words_source"]) for name in USED_PROPERTIES}
    from_memory = {
        name: source.str.contains(FROM_MEMORY, na=False).to_numpy(dtype=bool).copy() for name, source in sources.items()
    }
    structure = table["structure_is"].fillna("")
    values["molar_mass_g_mol"][structure.str.contains(ILLUSTRATION).to_numpy(bool)] = np.nan
    rows = []
    for name in _measured(study):
        for place, ingredient in enumerate(ingredients):
            found = emollient_value(study, ingredient, name)
            if found.source == OWN_MEASUREMENT:
                rows.append((ingredient, name, found.value, values[name][place], found.measured_on, found.method))
                values[name][place], from_memory[name][place] = found.value, False
    return BlendValues(
        values=values,
        from_memory=from_memory,
        family=table["family"].fillna("").to_numpy(dtype=object),
        smiles=table["smiles"].fillna("").to_numpy(dtype=object),
        structure=structure.to_numpy(dtype=object),
        own=_own_frame(rows),
    )


def _measured(study: Study) -> list[str]:
    """Return the properties of which the study holds a measurement."""
    measured = set(study.table("ingredient_values")["property"])
    return [name for name in USED_PROPERTIES if name in measured]


def _own_frame(rows: list[tuple[str, str, float, float, str, str]]) -> pd.DataFrame:
    frame = pd.DataFrame(rows, columns=["ingredient", "property", "value", "table_value", "measured_on", "method"])
    text = dict.fromkeys(("ingredient", "property", "measured_on", "method"), "str")
    return frame.astype({**text, "value": "float64", "table_value": "float64"})
