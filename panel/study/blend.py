"""The blend of a prototype: its emollients alone, as shares of the emollient part."""

from __future__ import annotations

import pandas as pd

from panel.study.formulas import all_formulas
from panel.study.study import Study


def emollient_blend(study: Study) -> pd.DataFrame:
    """Return the blends: index prototype, columns emollient (INCI), per cent of the emollient part.

    Rows sum to 100. Prototypes without a formula, without an emollient or with an amount missing have no row.
    """
    amounts = all_formulas(study).emollient_percent
    total = amounts.sum(axis=1, skipna=False)
    known = total > 0
    return 100.0 * amounts.loc[known].div(total.loc[known], axis=0)


def blend_rounding(study: Study) -> float:
    """Return by how much an entry of the blends may be off because formulas are written to 0.01 %."""
    amounts = all_formulas(study).emollient_percent.sum(axis=1, skipna=False)
    smallest = amounts.loc[amounts > 0].min()
    return float(100.0 * 0.01 / smallest) if pd.notna(smallest) else 0.0
