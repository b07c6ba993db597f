"""How small a difference could this panel have seen, as a table and in words."""

from __future__ import annotations

import pandas as pd

from panel.models.prototypes.sensitivity import Sensitivity
from panel.views.drawing.formats import format_number
from panel.views.drawing.naming import Naming


def smallest_difference_table(result: Sensitivity, names: Naming) -> pd.DataFrame:
    """Return one row per attribute and one column per family: the smallest true difference likely to be seen."""
    medians = result.medians
    wide = medians.pivot_table(index="attribute", columns="family", values="smallest_difference", sort=False)
    cells = {
        f"{str(family)[0].upper()}{str(family)[1:]}": [format_number(value, names.digits) for value in wide[family]]
        for family in wide.columns
    }
    attributes = [names.attribute(str(attribute)) for attribute in wide.index]
    return pd.DataFrame({names.with_scale("Attribute"): attributes} | cells, dtype="str")


def what_could_have_been_seen(result: Sensitivity, names: Naming) -> str:
    """Return the range over the attributes, in one sentence, for all pairs."""
    rows = result.medians.loc[result.medians["family"].str.startswith("all pairs")]
    low, high = rows["smallest_difference"].min(), rows["smallest_difference"].max()
    return (
        f"With {100 * result.power:.0f} % probability this panel shows a true difference between two prototypes of "
        f"{format_number(low, names.digits)} or more on the attribute it sees best, and of "
        f"{format_number(high, names.digits)} or more on the one it sees worst."
    )
