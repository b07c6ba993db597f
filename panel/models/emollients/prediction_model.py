"""Which model predicts a prototype that was not made, and how far off it may be."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel.errors import ModelError
from panel.models.emollients.prototype_level import PrototypeLevel, prototype_level
from panel.models.emollients.tested_swaps import Moves, find_moves, held_swaps, swap_steps
from panel.models.prototypes.differences import Differences
from panel.stats.maps.latent import q_squared
from panel.stats.mixed.linear_prediction import LinearFit, cautious_variance, fit_linear, pooled_variance
from panel.study.study import Study

Floats = NDArray[np.float64]
Terms = Literal["swaps alone", "swaps and their interactions", "curved"]
# Leave-one-out errors of models that are alike differ by chance: a richer one must lower them by a tenth.
RICHER_MUST_REACH = 0.9
# Blends to spare beyond the terms: fewer leave nothing to judge the misses by.
FEWEST_SPARE: dict[Terms, int] = {"swaps alone": 2, "swaps and their interactions": 3, "curved": 3}


@dataclass(frozen=True, eq=False, slots=True)
class PredictionModel:
    """A linear model of the panel means over the moves of the blends; everything a prediction needs.

    Parameters
    ----------
    level
        The blends and their means.
    swaps
        The swaps the blends hold.
    moves, terms
        Coordinates of the blends, and which terms of them are in the model.
    fit
        Least squares over the prototypes.
    variance, df
        For each attribute the variance of one prototype's mean about the model, and its degrees of freedom.
    choice
        The models that were possible: `model n_terms df mean_q2 misses chosen`; `misses` is the mean square of
        leave-one-prototype-out errors in units of the panel's own error.
    """

    level: PrototypeLevel
    swaps: pd.DataFrame
    moves: Moves
    terms: Terms
    fit: LinearFit
    variance: Floats
    df: Floats
    choice: pd.DataFrame
    method: str

    def rows(self, amounts: Floats) -> Floats:
        """Return the model's rows for amounts (blends x emollients, per cent of the formula)."""
        return model_rows(self.moves.coordinates(amounts)[0], self.terms)


def model_rows(z: Floats, terms: Terms) -> Floats:
    """Return the columns of a model: ones, moves, then products of two moves, then squares."""
    columns = [np.ones(len(z)), *z.T]
    if terms != "swaps alone":
        columns += [z[:, i] * z[:, j] for i, j in combinations(range(z.shape[1]), 2)]
    if terms == "curved":
        columns += list(z.T**2)
    return np.column_stack(columns)


def prediction_model(study: Study, differences: Differences | None = None) -> PredictionModel:
    """Choose and fit the model; ModelError if there are too few prototypes for the swaps they hold.

    Of the models that leave blends to spare, the one that predicts left-out prototypes best, all attributes together;
    a richer one only if it does so clearly.
    """
    return model_of(study, prototype_level(study, differences))


def model_of(study: Study, level: PrototypeLevel) -> PredictionModel:
    """Choose and fit the model for blends and means that are at hand already."""
    swaps = held_swaps(study, level.amounts, level.base)
    moves = find_moves(level.amounts, level.base, swaps)
    z, _ = moves.coordinates(level.amounts.to_numpy(dtype=float))
    Y, error = level.means.to_numpy(dtype=float), level.panel_variance
    fits = {terms: fit for terms in FEWEST_SPARE if (fit := _fit(z, Y, terms, moves)) is not None}
    if not fits:
        raise ModelError(
            f"{len(z)} blends that differ in {z.shape[1]} independent ways leave too few to judge how far off a "
            f"prediction is; at least {z.shape[1] + 1 + FEWEST_SPARE['swaps alone']} are needed."
        )
    choice = _choice(fits, Y, error)
    misses = dict(zip(choice["model"], choice["misses"].astype(float), strict=True))
    chosen = next(iter(fits))
    for terms in fits:
        chosen = terms if misses[terms] < RICHER_MUST_REACH * misses[chosen] else chosen
    variance, df = pooled_variance(fits[chosen], error, level.panel_df)
    return PredictionModel(
        level=level,
        swaps=swaps,
        moves=moves,
        terms=chosen,
        fit=fits[chosen],
        variance=variance,
        df=df,
        choice=choice.assign(chosen=choice["model"] == chosen),
        method=_method(chosen, moves, len(z)),
    )


def _fit(z: Floats, Y: Floats, terms: Terms, moves: Moves) -> LinearFit | None:
    """Return the fit if the blends can carry these terms and predict every one from the others."""
    if terms == "swaps and their interactions" and (moves.kind != "swaps" or z.shape[1] < 2):
        return None
    X = model_rows(z, terms)
    if len(X) - X.shape[1] < FEWEST_SPARE[terms]:
        return None
    try:
        fit = fit_linear(X, Y)
    except ValueError:  # the blends have no more than two levels of a move, say, so a curve cannot be seen
        return None
    return fit if terms == "swaps alone" or np.isfinite(fit.left_out).all() else None


def _choice(fits: dict[Terms, LinearFit], Y: Floats, error: Floats) -> pd.DataFrame:
    rows = []
    for terms, fit in fits.items():
        known = np.isfinite(fit.left_out).all(axis=1)
        squares = (Y[known] - fit.left_out[known]) ** 2 / error
        q2 = q_squared(Y, fit.left_out) if known.all() else np.full(Y.shape[1], np.nan)
        mean_q2 = float(np.mean(q2[np.isfinite(q2)])) if np.isfinite(q2).any() else float("nan")
        misses = float(squares.mean()) if known.any() else float("inf")
        rows.append((terms, fit.coefficients.shape[0], fit.df, mean_q2, misses))
    return pd.DataFrame(rows, columns=["model", "n_terms", "df", "mean_q2", "misses"])


def swap_effects(model: PredictionModel, level: float = 0.95) -> pd.DataFrame:
    """Return the swap effects with prototypes as the units.

    Columns: `attribute swap estimate std_error df p_value ci_low ci_high`. From the model with the swaps alone, so an
    effect is the mean over the blends; swaps that the blends cannot tell apart have no row. The error is
    the scatter of whole prototypes about that model, never less than the panel's own.
    """
    z, _ = model.moves.coordinates(model.level.amounts.to_numpy(dtype=float))
    fit = fit_linear(model_rows(z, "swaps alone"), model.level.means.to_numpy(dtype=float))
    variance, df = cautious_variance(fit, model.level.panel_variance)
    steps = swap_steps(model.level.amounts, model.swaps)
    along, off = model.moves.coordinates(model.moves.origin + steps)
    told = off <= 1e-6 * np.abs(steps).max(initial=1.0)
    contrasts = np.column_stack([np.zeros(int(told.sum())), along[told]])
    return _effect_rows(model, fit, contrasts, model.swaps.loc[told, "swap"], (variance, df), level)


def _effect_rows(
    model: PredictionModel,
    fit: LinearFit,
    contrasts: Floats,
    swaps: pd.Series,
    error: tuple[Floats, Floats],
    level: float,
) -> pd.DataFrame:
    from scipy.special import stdtr, stdtrit

    variance, df = error
    estimate = contrasts @ fit.coefficients
    spread = np.einsum("ij,jk,ik->i", contrasts, fit.inverse, contrasts)
    std_error = np.sqrt(spread[:, None] * variance)
    half = stdtrit(df, 0.5 + level / 2) * std_error
    attributes = model.level.attributes
    return pd.DataFrame(
        {
            "attribute": pd.Series(np.repeat(attributes, len(swaps)), dtype="str"),
            "swap": pd.Series(list(swaps) * len(attributes), dtype="str"),
            "estimate": estimate.T.ravel(),
            "std_error": std_error.T.ravel(),
            "df": np.repeat(df, len(swaps)),
            "p_value": (2 * stdtr(df, -np.abs(estimate / std_error))).T.ravel(),
            "ci_low": (estimate - half).T.ravel(),
            "ci_high": (estimate + half).T.ravel(),
        }
    )


def _method(terms: Terms, moves: Moves, n: int) -> str:
    what = {
        "swaps alone": "their swaps" if moves.kind == "swaps" else "the directions in which their blends differ",
        "swaps and their interactions": "their swaps and the interactions of every two",
        "curved": "the directions in which their blends differ, with products and squares",
    }[terms]
    return (
        f"Least squares of the panel means of {n} blends on {what}. Of the models that leave blends to spare it is the "
        "one that predicts left-out prototypes best over all attributes, a richer one only if better by a tenth. The "
        "variance of one prototype about the model holds what the model misses and the panel's own error; where it "
        "comes out smaller than the panel's own error, the two are pooled."
    )
