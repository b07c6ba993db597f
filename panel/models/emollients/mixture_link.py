"""Blends that vary continuously: how well does a mixture model describe them, and what does it miss?"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import fdtrc

from panel.models.emollients.prototype_level import PrototypeLevel
from panel.stats.formulas.composition import independent_moves
from panel.stats.formulas.mixtures import Form, MixtureFit, Order, fit_mixture, lack_of_fit, mixture_terms
from panel.stats.maps.latent import q_squared
from panel.study.formulas import SAME_AMOUNT

SPARE_BLENDS = 3
FEWEST_LEVELS = 3
_ORDERS: tuple[Order, ...] = ("linear", "quadratic")


def why_no_mixture(level: PrototypeLevel) -> str:
    """Return why no mixture model can be fitted, or the empty string."""
    amounts = moving(level)
    n, q = amounts.shape
    if not any(levels(amounts[:, column]) >= FEWEST_LEVELS for column in range(q)):
        return (
            "no emollient takes three different amounts: the blends are swaps, in or out, and a curve between them "
            "cannot be seen"
        )
    found = independent_moves(amounts, SAME_AMOUNT).count
    free = q if not level.same_total else q - 1
    if found < free:
        return (
            f"the {q} emollients vary in {found} independent ways only, not in the {free} that a mixture model of them "
            "takes; some of them always trade places with each other"
        )
    if n < free + 1 + SPARE_BLENDS:
        return f"a mixture model of {q} emollients needs at least {free + 1 + SPARE_BLENDS} blends, there are {n}"
    return ""


def mixture_links(level: PrototypeLevel) -> pd.DataFrame:
    """Return the mixture models of every attribute, those that the number of blends allows.

    Columns: `attribute model form n_terms df_error q2 statistic df p_value lack_statistic lack_df lack_df_error
    lack_p lack_against`. Amounts are shares of the emollient total; where water took up a change of the total, it is
    the slack component (`form` slack), otherwise `scheffe`. What the model misses is tested against blends made more
    than once (`lack_against` repeats), or, without any, against the panel's own error (panel). No coefficients: they
    would speak of pure emollients, which nobody made.
    """
    shares, form = _shares(level)
    rows = []
    for order in _ORDERS:
        n_terms = len(mixture_terms(shares.shape[1], order, form))
        if len(shares) < n_terms + SPARE_BLENDS:
            continue
        for attribute in level.means.columns:
            try:
                rows.append(_row(level, str(attribute), order, form, shares))
            except ValueError:  # too few levels for the products
                break
    columns = ["attribute", "model", "form", "n_terms", "df_error", "q2", "statistic", "df", "p_value"]
    lack = ["lack_statistic", "lack_df", "lack_df_error", "lack_p", "lack_against"]
    frame = pd.DataFrame(rows, columns=[*columns, *lack])
    return frame.astype(dict.fromkeys(("attribute", "model", "form", "lack_against"), "str"))


def _row(
    level: PrototypeLevel, attribute: str, order: Order, form: Form, shares: NDArray[np.float64]
) -> tuple[object, ...]:
    y = level.means[attribute].to_numpy(dtype=float)
    fit = fit_mixture(shares, y, order, form=form)
    q2 = float(q_squared(y[:, None], fit.left_out[:, None])[0])
    tested = (fit.statistic, fit.df, fit.p_value)
    return (
        attribute,
        order,
        form,
        len(fit.terms),
        fit.df_error,
        q2,
        *tested,
        *_lack(level, attribute, order, form, fit),
    )


def _lack(level: PrototypeLevel, attribute: str, order: Order, form: Form, fit: MixtureFit) -> tuple[object, ...]:
    """Return F, its degrees of freedom and p of what the model misses, and against what it was held."""
    row = {label: place for place, label in enumerate(level.means.index)}
    place = [row[label] for label in level.blend.loc[level.each.index]]
    if len(place) > len(row):
        shares, y = _shares(level)[0][place], level.each[attribute].to_numpy(dtype=float)
        found = lack_of_fit(shares, y, fit_mixture(shares, y, order, form=form))
        if np.isfinite(found.statistic):
            return (found.statistic, found.df, found.df_error, found.p_value, "repeats")
    place_of = level.attributes.index(attribute)
    variance, df = float(level.panel_variance[place_of]), float(level.panel_df[place_of])
    statistic = fit.residual_ss / fit.df_error / variance
    return (statistic, fit.df_error, df, float(fdtrc(fit.df_error, df, statistic)), "panel")


def moving(level: PrototypeLevel) -> NDArray[np.float64]:
    """Return the amounts of the emollients that vary (blends x emollients)."""
    amounts = level.amounts.to_numpy(dtype=float)
    return amounts[:, np.ptp(amounts, axis=0) > SAME_AMOUNT]


def levels(values: NDArray[np.float64]) -> int:
    """Return how many different amounts there are, to within the rounding of formulas."""
    return int(np.unique((values / (2 * SAME_AMOUNT)).round()).size)


def _shares(level: PrototypeLevel) -> tuple[NDArray[np.float64], Form]:
    amounts = moving(level)
    if level.same_total:
        return amounts / amounts.sum(axis=1, keepdims=True), "scheffe"
    most = float(amounts.sum(axis=1).max())
    filler = most - amounts.sum(axis=1)
    return np.column_stack([amounts, filler]) / most, "slack"
