"""All descriptors at once: do they predict prototypes that were left out, better than chance and than the swaps do?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from panel.models.emollients.link_columns import LinkColumns
from panel.models.emollients.prediction_model import PredictionModel, model_rows
from panel.models.emollients.prototype_level import PrototypeLevel
from panel.stats.comparing.multiplicity import holm
from panel.stats.maps.latent import permutation_test, row_orders
from panel.stats.mixed.linear_prediction import fit_linear

FEWEST_FOR_PREDICTION = 6
MOST_COMPONENTS = 2


def predict_from_descriptors(
    level: PrototypeLevel,
    columns: LinkColumns,
    swaps: PredictionModel | None,
    draws: int,
    rng: np.random.Generator,
) -> pd.DataFrame:
    """Return the leave-one-prototype-out Q2 of partial least squares on all descriptors, one row per attribute.

    Columns: `attribute q2 n_components p_value p_adjusted floor q2_chance q2_mean q2_swaps ceiling n n_descriptors
    orders arrangements`. Descriptors are standardised anew without the left-out prototype. `p_value` comes from giving
    the prototypes' means other places; `floor` is the smallest it could be; `q2_chance` is what one such order in
    twenty exceeds; `q2_mean` what predicting by the mean gives; `q2_swaps` what the swaps alone reach; `ceiling` the
    share of the differences between means that is not the panel's own error.
    """
    X, Y = columns.values[:, columns.is_descriptor], level.means.to_numpy(dtype=float)
    n = len(Y)
    found = permutation_test(X, Y, MOST_COMPONENTS, row_orders(n, draws, rng))
    return pd.DataFrame(
        {
            "attribute": pd.Series([str(name) for name in level.means.columns], dtype="str"),
            "q2": found.best,
            "n_components": found.n_components,
            "p_value": found.p_value,
            "p_adjusted": holm(found.p_value),
            "floor": found.floor,
            "q2_chance": found.chance,
            "q2_mean": 1 - (n / (n - 1)) ** 2,
            "q2_swaps": swaps_q_squared(level, swaps),
            "ceiling": ceilings(level).to_numpy(),
            "n": n,
            "n_descriptors": X.shape[1],
            "orders": found.orders,
            "arrangements": found.arrangements,
        }
    )


def swaps_q_squared(level: PrototypeLevel, swaps: PredictionModel | None) -> np.ndarray:
    """Return the leave-one-prototype-out Q2 of the swaps alone; NaN where some prototype cannot be predicted."""
    from panel.stats.maps.latent import q_squared

    Y = level.means.to_numpy(dtype=float)
    if swaps is None:
        return np.full(Y.shape[1], np.nan)
    z, _ = swaps.moves.coordinates(level.amounts.to_numpy(dtype=float))
    return q_squared(Y, fit_linear(model_rows(z, "swaps alone"), Y).left_out)


def ceilings(level: PrototypeLevel) -> pd.Series:
    """Return 1 - 1/F of each attribute, never below zero: no link to the formulas can explain more of the means."""
    return (1 - 1 / level.error["statistic"]).clip(lower=0)
