"""Which model predicts a prototype that was not made, and how far off it may be."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel.errors import ModelError
from panel.models.emollients.descriptors import BlendDescriptors
from panel.models.emollients.ladder_levels import PrototypeLevel, prototype_level
from panel.models.emollients.swaps import TestedMoves, find_moves, held_swaps, swap_steps
from panel.models.prototypes.differences import Differences
from panel.stats.comparing.multiplicity import holm
from panel.stats.formulas.composition import ALIAS_THRESHOLD, EXACT_ALIAS_THRESHOLD, alias_groups
from panel.stats.maps.latent import permutation_test, q_squared, row_orders
from panel.stats.mixed.linear_prediction import LinearFit, cautious_variance, fit_linear, pooled_variance
from panel.study.formulas import SAME_AMOUNT
from panel.study.knowledge import expected_directions
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
    moves: TestedMoves
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


def _fit(z: Floats, Y: Floats, terms: Terms, moves: TestedMoves) -> LinearFit | None:
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


def _method(terms: Terms, moves: TestedMoves, n: int) -> str:
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


# All descriptors at once: do they predict prototypes that were left out, better than chance and than the swaps do?


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


# What attributes may be set against: properties of the blends that are known and vary, and the emollients.


@dataclass(frozen=True, eq=False, slots=True)
class LinkColumns:
    """Columns that attributes are set against: sound descriptors that vary, then the emollients themselves.

    Emollients stand in the way of naming a property, they are never named as one. Descriptors that are copies of
    another (same up to shift and scale) are left out; `copies` says of which. `aliased` marks columns that move
    with another one.
    """

    names: tuple[str, ...]
    values: NDArray[np.float64]
    is_descriptor: NDArray[np.bool_]
    aliased: NDArray[np.bool_]
    copies: dict[str, str]


def link_columns(level: PrototypeLevel, descriptors: BlendDescriptors) -> LinkColumns:
    """Return the columns for the blends of `level`."""
    first = [name.split(" = ")[0] for name in level.amounts.index]
    wide = descriptors.wide.loc[first, list(descriptors.sound)]
    varies = np.ptp(wide.to_numpy(dtype=float), axis=0) > 0
    wide = wide.loc[:, varies]
    exact = alias_groups(wide.to_numpy(dtype=float), EXACT_ALIAS_THRESHOLD)
    names = [str(name) for name in wide.columns]
    copies = _copies(names, exact.group)
    kept = [name for name, apart in zip(names, exact.apart, strict=True) if name not in copies and not apart]
    moving = level.amounts.loc[:, np.ptp(level.amounts.to_numpy(dtype=float), axis=0) > SAME_AMOUNT]
    values = np.column_stack([wide[kept].to_numpy(dtype=float), moving.to_numpy(dtype=float)])
    alike = alias_groups(values, ALIAS_THRESHOLD)
    return LinkColumns(
        names=(*kept, *map(str, moving.columns)),
        values=values,
        is_descriptor=np.arange(values.shape[1]) < len(kept),
        aliased=(alike.group >= 0) | np.isin([*kept, *moving.columns], list(copies.values())),
        copies=copies,
    )


def _copies(names: list[str], group: NDArray[np.int64]) -> dict[str, str]:
    """Return which descriptor each copy stands back for: the first of them that something was said of beforehand."""
    said = set(expected_directions()["descriptor"])
    copies: dict[str, str] = {}
    for number in range(int(group.max(initial=-1)) + 1):
        members = [name for name, own in zip(names, group, strict=True) if own == number]
        leader = min(members, key=lambda name: name not in said)
        copies |= {name: leader for name in members if name != leader}
    return copies
