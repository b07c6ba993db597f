"""Which terms stand near which prototypes? The correspondence map of check-all counts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from panel.errors import ModelError
from panel.stats.maps.correspondence import correspondence

TOO_MANY_FEW = 0.20  # share of expected counts below five that calls for a warning (Cochran 1954, Biometrics 10:417)


@dataclass(frozen=True, eq=False, slots=True)
class TermMap:
    """Correspondence map of terms by prototypes.

    Parameters
    ----------
    components
        `component correlation inertia share`.
    terms
        `term mass` and one column `component_1`, `component_2` ... with principal coordinates.
    prototypes
        `prototype mass` and the same columns.
    left_out
        Terms nobody ticked and prototypes nobody ticked anything for: `kind name`.
    total_inertia
        Chi-square of the table over its total.
    few_expected
        Share of the cells whose expected count is below five; `too_few_expected` if it calls for a warning.
    """

    components: pd.DataFrame
    terms: pd.DataFrame
    prototypes: pd.DataFrame
    left_out: pd.DataFrame
    total_inertia: float
    few_expected: float
    too_few_expected: bool


def term_map(shares: pd.DataFrame) -> TermMap:
    """Return the map of counts `term prototype ticked`; ModelError if fewer than two of either were ticked."""
    counts = shares.pivot_table(index="term", columns="prototype", values="ticked", aggfunc="sum", sort=False)
    counts = counts.fillna(0)
    kept = counts.loc[counts.sum(axis=1) > 0, counts.sum(axis=0) > 0]
    if min(kept.shape) < 2:
        raise ModelError("fewer than two terms, or fewer than two prototypes, were ticked at all.")
    found = correspondence(kept.to_numpy(dtype=float))
    numbers = np.arange(1, found.inertias.size + 1)
    total = found.inertias.sum()
    names = [f"component_{number}" for number in numbers]
    left_out = [("term", str(name)) for name in counts.index.difference(kept.index, sort=False)]
    left_out += [("prototype", str(name)) for name in counts.columns.difference(kept.columns, sort=False)]
    return TermMap(
        components=pd.DataFrame(
            {
                "component": numbers,
                "correlation": found.correlations,
                "inertia": found.inertias,
                "share": found.inertias / total if total > 0 else np.full(numbers.size, np.nan),
            }
        ),
        terms=_places("term", kept.index, found.row_masses, found.rows, names),
        prototypes=_places("prototype", kept.columns, found.column_masses, found.columns, names),
        left_out=pd.DataFrame(left_out, columns=["kind", "name"], dtype="str"),
        total_inertia=found.total_inertia,
        few_expected=found.few_expected,
        too_few_expected=found.few_expected > TOO_MANY_FEW,
    )


def _places(kind: str, index: pd.Index, masses: np.ndarray, at: np.ndarray, names: list[str]) -> pd.DataFrame:
    frame = pd.DataFrame(at, columns=names)
    frame.insert(0, "mass", masses)
    frame.insert(0, kind, pd.Series([str(name) for name in index], dtype="str"))
    return frame
