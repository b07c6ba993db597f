"""Prototypes as the units: blends and panel means, and the model that predicts a blend nobody made."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import fdtrc, stdtr, stdtrit

from panel.checks.confounds import find_confounds
from panel.errors import ModelError
from panel.models.emollients.descriptors import (
    NO_BLEND,
    BlendDescriptors,
    TestedMoves,
    find_moves,
    held_swaps,
    swap_steps,
)
from panel.models.prototypes.differences import Differences, find_differences
from panel.stats.arrays import Array
from panel.stats.comparing.multiplicity import LEVEL, holm
from panel.stats.formulas.composition import (
    ALIAS_THRESHOLD,
    EXACT_ALIAS_THRESHOLD,
    alias_groups,
    independent_moves,
    without_spread,
)
from panel.stats.formulas.mixtures import (
    Form,
    LinearFit,
    MixtureFit,
    Order,
    cautious_variance,
    fit_linear,
    fit_mixture,
    lack_of_fit,
    mixture_terms,
    pooled_variance,
)
from panel.stats.maps.links import permutation_test, q_squared, row_orders
from panel.study.formulas import (
    FLOAT_SLACK,
    SAME_AMOUNT,
    WATER,
    emollient_percents,
    expected_directions,
    formula_percents,
)
from panel.study.study import Study

_FEWEST_BLENDS = 2


@dataclass(frozen=True, eq=False, slots=True)
class PrototypeLevel:
    """Blends and panel means, one row each; prototypes of the same formula share a row.

    Parameters
    ----------
    amounts
        Index prototype (several names joined by " = "), columns emollient, per cent of the formula.
    means
        The same index, columns attribute: estimated means of the panel.
    error
        Index attribute: `variance` of a mean as far as the panel's own error goes (half the squared error of a
        difference of two prototypes), its `df`, the `statistic` F of the prototypes, and its `p_adjusted`.
    base
        Label of the row the others are compared with.
    same_total
        True if every blend has the same emollient total.
    each, blend
        Means of every prototype by itself, and the label of the blend it belongs to.
    notes
        Prototypes and attributes that take no part, and why.
    """

    amounts: pd.DataFrame
    means: pd.DataFrame
    error: pd.DataFrame
    base: str
    same_total: bool
    each: pd.DataFrame
    blend: pd.Series
    notes: tuple[str, ...]

    @property
    def emollients(self) -> tuple[str, ...]:
        """Names of the emollients, in the order of the amounts."""
        return tuple(str(name) for name in self.amounts.columns)

    @property
    def attributes(self) -> tuple[str, ...]:
        """Names of the attributes, in the order of the means."""
        return tuple(str(name) for name in self.means.columns)

    @property
    def base_amounts(self) -> Array:
        """Amounts of the base, in the order of the emollients."""
        return self.amounts.loc[[self.base]].to_numpy(dtype=float)[0]

    @property
    def ceiling(self) -> pd.Series:
        """1 - 1/F of each attribute, never below zero: no link to the formulas can explain more of the means."""
        return (1 - 1 / self.error["statistic"]).clip(lower=0)

    @property
    def panel_variance(self) -> Array:
        """Variance of a mean by the panel's own error, in the order of the attributes."""
        return self.error["variance"].to_numpy(dtype=float)

    @property
    def panel_df(self) -> Array:
        """Degrees of freedom of the panel's own error."""
        return self.error["df"].to_numpy(dtype=float)


def prototype_level(study: Study, differences: Differences | None = None) -> PrototypeLevel:
    """Return the blends of `study` with the panel's means; ModelError if fewer than two blends can be compared.

    Only prototypes whose formulas differ from the base in emollients (and the water that makes up for them) take part.
    """
    told = find_differences(study) if differences is None else differences
    amounts, changed = _frozen_base(study)
    means = told.means.pivot_table(index="prototype", columns="attribute", values="estimate", sort=False)
    means = means.reindex(columns=[name for name in told.attributes["attribute"] if name in means.columns])
    judged = [name for name in amounts.index if name in means.index]
    gaps = [str(name) for name in means.columns if means.loc[judged, name].isna().any()]
    means = means.loc[judged].drop(columns=gaps)
    amounts = amounts.loc[judged, (amounts.loc[judged] > 0).any()]
    stated = study.benchmark or ""
    base = stated if stated in judged else (judged[0] if judged else "")
    label = _labels(amounts)
    averaged = means.groupby(label, sort=False).mean()
    if len(averaged) < _FEWEST_BLENDS or not len(means.columns):
        raise ModelError(
            f"Only {len(averaged)} blend{'' if len(averaged) == 1 else 's'} with a formula in this base and scores for "
            f"all of {len(means.columns)} attributes; at least {_FEWEST_BLENDS} different blends and one attribute are "
            "needed to compare prototypes as such."
        )
    distinct = amounts.groupby(label, sort=False).first()
    total = distinct.sum(axis=1)
    return PrototypeLevel(
        amounts=distinct,
        means=averaged,
        error=_error(told, judged, averaged),
        base=str(label.loc[base]) if base else "",
        same_total=float(np.ptp(total.to_numpy())) <= SAME_AMOUNT + FLOAT_SLACK,
        each=means,
        blend=label,
        notes=tuple(_notes(study, judged, changed, gaps, label)),
    )


def _frozen_base(study: Study) -> tuple[pd.DataFrame, list[str]]:
    """Return the amounts of the prototypes that share the base's other ingredients, and names of those that do not.

    The base is that of the benchmark; where no other prototype shares it, such as with a product on sale, the one that
    most prototypes share.
    """
    percent, emollients = formula_percents(study), list(emollient_percents(study))
    complete = percent.loc[percent.notna().all(axis=1)]
    if complete.empty or not emollients:
        raise ModelError(NO_BLEND)
    rest = complete.drop(columns=[*emollients, *([WATER] if WATER in complete else [])]).to_numpy(float)
    shared = (np.abs(rest[:, None] - rest) <= SAME_AMOUNT + FLOAT_SLACK).all(axis=2)
    names, sharing = list(complete.index), shared.sum(axis=1)
    base = names.index(study.benchmark) if study.benchmark in names else 0
    frozen = shared[base if sharing[base] > 1 else int(sharing.argmax())]
    return complete.loc[frozen, emollients], [str(name) for name in complete.index[~frozen]]


def _labels(amounts: pd.DataFrame) -> pd.Series:
    """Return for each prototype the names of all that have the same amounts, joined."""
    rounded = pd.Series([tuple(row) for row in (amounts / SAME_AMOUNT).round().to_numpy()], index=amounts.index)
    joined = {key: " = ".join(map(str, part.index)) for key, part in rounded.groupby(rounded, sort=False)}
    return pd.Series([joined[key] for key in rounded], index=amounts.index, dtype="str")


def _error(told: Differences, judged: list[str], means: pd.DataFrame) -> pd.DataFrame:
    pairs = told.pairs.loc[told.pairs["prototype"].isin(judged) & told.pairs["versus"].isin(judged)]
    pairs = pairs.assign(variance=pairs["std_error"] ** 2 / 2)
    error = pairs.groupby("attribute", sort=False).agg(variance=("variance", "mean"), df=("df", "median"))
    tests = told.attributes.set_index("attribute")[["statistic", "p_adjusted"]]
    return error.join(tests).reindex(means.columns)


def _notes(study: Study, judged: list[str], changed: list[str], gaps: list[str], label: pd.Series) -> Iterator[str]:
    if changed:
        yield f"Not of the same base, so without part here: {', '.join(changed)}."
    others = [name for name in study.prototypes if name not in judged and name not in changed]
    if others:
        yield f"Without a complete formula or without scores, so without part here: {', '.join(others)}."
    if gaps:
        yield f"Not estimated for every prototype, so left out here: {', '.join(gaps)}."
    several = [name for name in label.unique() if " = " in name]
    if several:
        yield f"The same formula, so taken together as one blend: {'; '.join(several)}."


# Blends that vary continuously: how well does a mixture model describe them, and what does it miss?


_SPARE_BLENDS = 3
_FEWEST_LEVELS = 3
_ORDERS: tuple[Order, ...] = ("linear", "quadratic")


def _why_no_mixture(level: PrototypeLevel) -> str:
    """Return why no mixture model can be fitted, or the empty string."""
    amounts = _moving(level)
    n, q = amounts.shape
    if not any(_levels(amounts[:, column]) >= _FEWEST_LEVELS for column in range(q)):
        return (
            "no emollient takes three different amounts: the blends are swaps, in or out, and a curve between them "
            "cannot be seen"
        )
    found = independent_moves(amounts, SAME_AMOUNT)
    free = q if not level.same_total else q - 1
    if found < free:
        return (
            f"the {q} emollients vary in {found} independent ways only, not in the {free} that a mixture model of them "
            "takes; some of them always trade places with each other"
        )
    if n < free + 1 + _SPARE_BLENDS:
        return f"a mixture model of {q} emollients needs at least {free + 1 + _SPARE_BLENDS} blends, there are {n}"
    return ""


def mixture_links(level: PrototypeLevel) -> tuple[pd.DataFrame, str]:
    """Return the mixture models of every attribute, those that the number of blends allows, or why there are none.

    Columns: `attribute model form n_terms df_error q2 statistic df p_value lack_statistic lack_df lack_df_error
    lack_p lack_against`. Amounts are shares of the emollient total; where water took up a change of the total, it is
    the slack component (`form` slack), otherwise `scheffe`. What the model misses is tested against blends made more
    than once (`lack_against` repeats), or, without any, against the panel's own error (panel). No coefficients: they
    would speak of pure emollients, which nobody made.
    """
    if why := _why_no_mixture(level):
        return pd.DataFrame(), why
    shares, form = _shares(level)
    rows = []
    for order in _ORDERS:
        n_terms = len(mixture_terms(shares.shape[1], order, form))
        if len(shares) < n_terms + _SPARE_BLENDS:
            continue
        for attribute in level.means.columns:
            try:
                rows.append(_row(level, str(attribute), order, form, shares))
            except ValueError:  # too few levels for the products
                break
    columns = ["attribute", "model", "form", "n_terms", "df_error", "q2", "statistic", "df", "p_value"]
    lack = ["lack_statistic", "lack_df", "lack_df_error", "lack_p", "lack_against"]
    frame = pd.DataFrame(rows, columns=[*columns, *lack])
    return frame.astype(dict.fromkeys(("attribute", "model", "form", "lack_against"), "str")), ""


def _row(level: PrototypeLevel, attribute: str, order: Order, form: Form, shares: Array) -> tuple[object, ...]:
    y = level.means[attribute].to_numpy(dtype=float)
    fit = fit_mixture(shares, y, order, form=form)
    q2 = float(q_squared(y[:, None], fit.left_out[:, None])[0])
    tested = (len(fit.terms), fit.df_error, q2, fit.statistic, fit.df, fit.p_value)
    return (attribute, order, form, *tested, *_lack(level, attribute, order, form, fit))


def _lack(level: PrototypeLevel, attribute: str, order: Order, form: Form, fit: MixtureFit) -> tuple[object, ...]:
    """Return F, its degrees of freedom and p of what the model misses, and against what it was held."""
    row = {label: place for place, label in enumerate(level.means.index)}
    place = [row[label] for label in level.blend.loc[level.each.index]]
    if len(place) > len(row):
        shares, y = _shares(level)[0][place], level.each[attribute].to_numpy(dtype=float)
        found = lack_of_fit(shares, y, fit_mixture(shares, y, order, form=form))
        if np.isfinite(found[0]):
            return (*found, "repeats")
    place_of = level.attributes.index(attribute)
    variance, df = float(level.panel_variance[place_of]), float(level.panel_df[place_of])
    statistic = fit.residual_ss / fit.df_error / variance
    return (statistic, fit.df_error, df, float(fdtrc(fit.df_error, df, statistic)), "panel")


def _moving(level: PrototypeLevel) -> Array:
    """Return the amounts of the emollients that vary (blends x emollients)."""
    amounts = level.amounts.to_numpy(dtype=float)
    return amounts[:, np.ptp(amounts, axis=0) > SAME_AMOUNT]


def _levels(values: Array) -> int:
    """Return how many different amounts there are, to within the rounding of formulas."""
    return int(np.unique((values / (2 * SAME_AMOUNT)).round()).size)


def _shares(level: PrototypeLevel) -> tuple[Array, Form]:
    amounts = _moving(level)
    if level.same_total:
        return amounts / amounts.sum(axis=1, keepdims=True), "scheffe"
    most = float(amounts.sum(axis=1).max())
    filler = most - amounts.sum(axis=1)
    return np.column_stack([amounts, filler]) / most, "slack"


# Which model predicts a prototype that was not made?


_Terms = Literal["swaps alone", "swaps and their interactions", "curved"]
# Leave-one-out errors of models that are alike differ by chance: a richer one must lower them by a tenth.
_RICHER_MUST_REACH = 0.9
# Blends to spare beyond the terms: fewer leave nothing to judge the misses by.
_FEWEST_SPARE: dict[_Terms, int] = {"swaps alone": 2, "swaps and their interactions": 3, "curved": 3}


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
    terms: _Terms
    fit: LinearFit
    variance: Array
    df: Array
    choice: pd.DataFrame
    method: str

    def rows(self, amounts: Array) -> Array:
        """Return the model's rows for amounts (blends x emollients, per cent of the formula)."""
        return model_rows(self.moves.coordinates(amounts)[0], self.terms)


def model_rows(z: Array, terms: _Terms) -> Array:
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
    return model_of(study, _told_apart(study, prototype_level(study, differences)))


def _told_apart(study: Study, level: PrototypeLevel) -> PrototypeLevel:
    """Return the level without attributes on which a factor of the test goes wholly along with some prototypes."""
    confounds, own = find_confounds(study), list(level.each.index)
    untold = {name: because for name in level.attributes if (because := confounds.untold_among(name, own))}
    if not untold:
        return level
    because, told = next(iter(untold.values())), [name for name in level.attributes if name not in untold]
    if not told:
        raise ModelError(f"Nothing can be predicted: {because}. What a blend seems to do may be that.")
    left_out = f"Left out of what is predicted: {', '.join(map(study.attribute_words, untold))}, as {because}."
    notes = (*level.notes, left_out)
    return replace(level, means=level.means[told], each=level.each[told], error=level.error.loc[told], notes=notes)


def model_of(study: Study, level: PrototypeLevel) -> PredictionModel:
    """Choose and fit the model for blends and means that are at hand already."""
    swaps = held_swaps(study, level.amounts, level.base)
    moves = find_moves(level.amounts, level.base, swaps)
    z, _ = moves.coordinates(level.amounts.to_numpy(dtype=float))
    Y, error = level.means.to_numpy(dtype=float), level.panel_variance
    fits = {terms: fit for terms in _FEWEST_SPARE if (fit := _fit(z, Y, terms, moves)) is not None}
    if not fits:
        ways = f"{z.shape[1]} independent way{'' if z.shape[1] == 1 else 's'}"
        raise ModelError(
            f"{len(z)} blends that differ in {ways} leave too few to judge how far off a prediction is; at least "
            f"{z.shape[1] + 1 + _FEWEST_SPARE['swaps alone']} are needed. Plan more on the page Plan."
        )
    choice = _choice(fits, Y, error)
    misses = dict(zip(choice["model"], choice["misses"].astype(float), strict=True))
    chosen = next(iter(fits))
    for terms in fits:
        chosen = terms if misses[terms] < _RICHER_MUST_REACH * misses[chosen] else chosen
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


def _fit(z: Array, Y: Array, terms: _Terms, moves: TestedMoves) -> LinearFit | None:
    """Return the fit if the blends can carry these terms and predict every one from the others."""
    if terms == "swaps and their interactions" and (moves.kind != "swaps" or z.shape[1] < 2):
        return None
    X = model_rows(z, terms)
    if len(X) - X.shape[1] < _FEWEST_SPARE[terms]:
        return None
    try:
        fit = fit_linear(X, Y)
    except ValueError:  # the blends have no more than two levels of a move, say, so a curve cannot be seen
        return None
    return fit if terms == "swaps alone" or np.isfinite(fit.left_out).all() else None


def _choice(fits: dict[_Terms, LinearFit], Y: Array, error: Array) -> pd.DataFrame:
    rows = []
    for terms, fit in fits.items():
        known = np.isfinite(fit.left_out).all(axis=1)
        squares = (Y[known] - fit.left_out[known]) ** 2 / error
        q2 = q_squared(Y, fit.left_out) if known.all() else np.full(Y.shape[1], np.nan)
        mean_q2 = float(np.mean(q2[np.isfinite(q2)])) if np.isfinite(q2).any() else float("nan")
        misses = float(squares.mean()) if known.any() else float("inf")
        rows.append((terms, fit.coefficients.shape[0], fit.df, mean_q2, misses))
    return pd.DataFrame(rows, columns=["model", "n_terms", "df", "mean_q2", "misses"])


def swap_effects(model: PredictionModel) -> pd.DataFrame:
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
    return _effect_rows(model, fit, contrasts, model.swaps.loc[told, "swap"], (variance, df))


def _effect_rows(
    model: PredictionModel, fit: LinearFit, contrasts: Array, swaps: pd.Series, error: tuple[Array, Array]
) -> pd.DataFrame:
    variance, df = error
    estimate = contrasts @ fit.coefficients
    spread = np.einsum("ij,jk,ik->i", contrasts, fit.inverse, contrasts)
    std_error = np.sqrt(spread[:, None] * variance)
    half = stdtrit(df, 0.5 + LEVEL / 2) * std_error
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


def _method(terms: _Terms, moves: TestedMoves, n: int) -> str:
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


_MOST_COMPONENTS = 2


def predict_from_descriptors(
    level: PrototypeLevel, columns: LinkColumns, swaps: PredictionModel | None, draws: int, rng: np.random.Generator
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
    found = permutation_test(X, Y, _MOST_COMPONENTS, row_orders(n, draws, rng))
    return pd.DataFrame(
        {
            "attribute": pd.Series([str(name) for name in level.means.columns], dtype="str"),
            "q2": found["best"],
            "n_components": found["n_components"],
            "p_value": found["p_value"],
            "p_adjusted": holm(found["p_value"]),
            "floor": found["floor"],
            "q2_chance": found["chance"],
            "q2_mean": 1 - (n / (n - 1)) ** 2,
            "q2_swaps": _swaps_q_squared(level, swaps),
            "ceiling": level.ceiling.to_numpy(),
            "n": n,
            "n_descriptors": X.shape[1],
            "orders": found["orders"],
            "arrangements": found["arrangements"],
        }
    )


def _swaps_q_squared(level: PrototypeLevel, swaps: PredictionModel | None) -> np.ndarray:
    """Return the leave-one-prototype-out Q2 of the swaps alone; NaN where some prototype cannot be predicted."""
    Y = level.means.to_numpy(dtype=float)
    if swaps is None:
        return np.full(Y.shape[1], np.nan)
    z, _ = swaps.moves.coordinates(level.amounts.to_numpy(dtype=float))
    return q_squared(Y, fit_linear(model_rows(z, "swaps alone"), Y).left_out)


# What attributes may be set against: properties of the blends that are known and vary, and the emollients.


@dataclass(frozen=True, eq=False, slots=True)
class LinkColumns:
    """Columns that attributes are set against: sound descriptors that vary, then the emollients themselves.

    Emollients stand in the way of naming a property, they are never named as one. Descriptors that are copies of
    another (same up to shift and scale) are left out; `copies` says of which. `aliased` marks columns that move
    with another one.
    """

    names: tuple[str, ...]
    values: Array
    is_descriptor: NDArray[np.bool_]
    aliased: NDArray[np.bool_]
    copies: dict[str, str]


def link_columns(level: PrototypeLevel, descriptors: BlendDescriptors) -> LinkColumns:
    """Return the columns for the blends of `level`."""
    first = [name.split(" = ")[0] for name in level.amounts.index]
    wide = descriptors.wide.loc[first, list(descriptors.sound)]
    varies = np.ptp(wide.to_numpy(dtype=float), axis=0) > 0
    wide = wide.loc[:, varies]
    exact, _ = alias_groups(wide.to_numpy(dtype=float), EXACT_ALIAS_THRESHOLD)
    names = [str(name) for name in wide.columns]
    said = set(expected_directions()["descriptor"])
    copies: dict[str, str] = {}
    for number in range(int(exact.max(initial=-1)) + 1):
        members = [name for name, own in zip(names, exact, strict=True) if own == number]
        leader = min(members, key=lambda name: name not in said)
        copies |= {name: leader for name in members if name != leader}
    apart = without_spread(wide.to_numpy(dtype=float))
    kept = [name for name, out in zip(names, apart, strict=True) if name not in copies and not out]
    moving = level.amounts.loc[:, np.ptp(level.amounts.to_numpy(dtype=float), axis=0) > SAME_AMOUNT]
    values = np.column_stack([wide[kept].to_numpy(dtype=float), moving.to_numpy(dtype=float)])
    alike, _ = alias_groups(values, ALIAS_THRESHOLD)
    return LinkColumns(
        names=(*kept, *map(str, moving.columns)),
        values=values,
        is_descriptor=np.arange(values.shape[1]) < len(kept),
        aliased=(alike >= 0) | np.isin([*kept, *moving.columns], list(copies.values())),
        copies=copies,
    )
